package planview

import (
	"fmt"
	"io"

	"yardproof/cmd/yardproof/internal/light"
	"yardproof/cmd/yardproof/internal/textout"
	"yardproof/patterns"
)

// patternView is what one pattern asks of the supplies, in its heaviest frame
// and at the highest level that it may be shown at.
type patternView struct {
	Pattern      string        `json:"pattern"`
	WorstPercent float64       `json:"worst_percent"` // of full white, all lit strings together
	LevelPercent float64       `json:"level_percent"`
	CappedBy     string        `json:"capped_by,omitempty"`
	Amps         []currentView `json:"amps"` // by supply; of one string, by feed
}

type currentView struct {
	At   string  `json:"at"`
	Amps float64 `json:"amps"`
}

// Patterns prints the currents of every pattern: on all strings by supply, or on
// one string by feed. Light is taken to be evenly spread along a string, idle
// current is counted.
func (v *View) Patterns(w io.Writer, name, format string) error {
	only := -1
	if name != "" {
		s, err := v.find(name)
		if err != nil {
			return err
		}
		only = s.Index
	}
	var views []patternView
	for _, p := range patterns.All() {
		views = append(views, v.pattern(p, only))
	}
	if format == "json" {
		return textout.JSON(w, map[string]any{"name": v.Name, "string": name, "patterns": views})
	}
	heads := []string{"pattern", ">heaviest frame", ">shown at"}
	for _, c := range views[0].Amps {
		heads = append(heads, ">"+c.At)
	}
	t := textout.NewTable(append(heads, "because of")...)
	for _, p := range views {
		row := []string{p.Pattern, fmt.Sprintf("%.1f %%", p.WorstPercent), fmt.Sprintf("%.0f %%", p.LevelPercent)}
		for _, c := range p.Amps {
			row = append(row, fmt.Sprintf("%.2f A", c.Amps))
		}
		t.Add(append(row, p.CappedBy)...)
	}
	where := "on all strings, amps of each supply"
	if only >= 0 {
		where = "on " + name + " alone, amps of each feed"
	}
	if _, err := fmt.Fprintf(w, "%s: every pattern's heaviest frame %s\n", v.Name, where); err != nil {
		return err
	}
	return t.Print(w)
}

// pattern works out one pattern on one string, or on all when only is negative.
func (v *View) pattern(p patterns.Pattern, only int) patternView {
	duty := make([]float64, len(v.plan.Strings))
	var slots, lit float64
	for i, s := range v.plan.Strings {
		if only >= 0 && i != only {
			continue
		}
		duty[i] = p.Worst(light.Layout(s), patterns.Options{})
		n := float64(s.Pixels * s.ChannelsPerPixel())
		slots, lit = slots+n, lit+n*duty[i]
	}
	c := light.Limit(v.budget, p, duty)
	view := patternView{Pattern: p.Name, WorstPercent: 100 * lit / max(slots, 1), LevelPercent: 100 * c.Level}
	if c.Level < 1 {
		view.CappedBy = c.By
	}
	if only >= 0 {
		for _, f := range v.budget.Strings[only].Feeds {
			view.Amps = append(view.Amps, currentView{f.At, f.IdleAmps + duty[only]*c.Level*(f.FullWhiteAmps-f.IdleAmps)})
		}
		return view
	}
	amps := v.budget.SupplyAmps(duty, c.Level)
	for _, s := range v.plan.Supplies {
		view.Amps = append(view.Amps, currentView{s.Name, amps[s.Name]})
	}
	return view
}
