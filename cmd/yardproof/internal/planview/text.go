package planview

import (
	"bytes"
	"cmp"
	"fmt"
	"io"
	"strconv"
	"strings"

	"yardproof/cmd/yardproof/internal/textout"
	"yardproof/config/budget"
	"yardproof/config/protection"
)

// text prints the address map and the budgets for a person.
func (v *View) text(out io.Writer) error {
	var b bytes.Buffer
	v.heading(&b)
	section := func(title string, t *textout.Table) {
		if !t.Empty() {
			fmt.Fprintf(&b, "\n%s\n", title)
			t.Print(&b)
		}
	}
	section("Strings (from and to are universe/channel; amps and volts at full white)", v.stringTable())
	b.WriteString(v.together())
	section("Feeds at full white", v.feedTable())
	section("Feeders at full white", v.feederTable())
	section("Supplies at full white (limit: the share for continuous use)", v.supplyTable())
	section("Enclosures with everything lit (an estimate)", v.enclosureTable())
	section("Controllers' power inputs at full white", v.inputTable())
	section("Data lines", v.portTable())
	section("Universes", v.universeTable())
	if n := v.Network; n.Universes > 0 {
		fmt.Fprintf(&b, "\nNetwork: %s at %s frames a second: %s packets/s, %s Mbit/s on the wire\n",
			textout.Count(n.Universes, "universe"), textout.Number(v.plan.Network.Rate), textout.Fixed(n.PacketsPerSecond, 0), textout.Fixed(n.BitsPerSecond/1e6, 2))
	}
	if losses := v.losses(); len(losses) > 0 {
		b.WriteString("\nIf one feed or feeder is lost at full white\n")
		for _, l := range losses {
			fmt.Fprintf(&b, "  %s\n", l)
		}
	}
	section("Protection: the most that wire can carry in a fault while no fuse opens (limit: the fuse that the wire may have)", v.worstTable())
	if v.Protection != nil && len(v.Protection.Twice) > 0 {
		b.WriteString("\nProtection: two faults at once, the worst of each string (no warning is made of it)\n")
		for _, f := range v.Protection.Twice {
			fmt.Fprintf(&b, "  %s: %s. To mend it: %s.\n", f.String, f.What, f.Mend)
		}
	}
	section("Protection: does each fuse see a short, with the others open", v.reachTable())
	section("Protection: mains circuits, every supply at full output (to be confirmed by an electrician)", v.mainsTable())
	if v.Protection != nil && len(v.Protection.Strings) > 0 {
		for _, line := range protection.Assumptions(v.plan) {
			fmt.Fprintf(&b, "  %s\n", line)
		}
	}
	section("Chips (figures from the table, used where the plan gives none)", v.chipTable())
	b.WriteString("\nWhere the figures come from\n")
	fmt.Fprintf(&b, "  %s\n", budget.ToleranceText(v.plan.Tolerance))
	for _, source := range budget.Sources() {
		fmt.Fprintf(&b, "  %s\n", source)
	}
	if len(v.Notes) > 0 {
		b.WriteString("\nNot checked\n")
		for _, line := range v.unchecked() {
			fmt.Fprintf(&b, "  %s\n", line)
		}
	}
	if len(v.Supplies) > 0 {
		b.WriteString("\nCautions\n")
		for _, c := range budget.Cautions() {
			fmt.Fprintf(&b, "  %s\n", c)
		}
	}
	_, err := out.Write(b.Bytes())
	return err
}

func (v *View) heading(b *bytes.Buffer) {
	name := v.Name
	if name == "" {
		name = v.plan.File
	}
	parts := []string{textout.Count(len(v.Strings), "string"), textout.Count(v.plan.Pixels(), "pixel"), textout.Count(len(v.Universes), "universe")}
	if n := len(v.plan.Controllers); n > 0 {
		parts = append(parts, textout.Count(n, "controller"))
	}
	fmt.Fprintf(b, "%s\n%s\n", name, strings.Join(parts, ", "))
	if v.problems != "" {
		fmt.Fprintf(b, "%s; listed at the end\n", v.problems)
	}
}

func (v *View) stringTable() *textout.Table {
	t := textout.NewTable("string", "label", "controller", "port", ">pixels", ">nulls", "order", "from", "to", ">full white", ">lowest", ">at pixel", ">lowest may be", ">level allowed", "because of")
	for _, s := range v.Strings {
		from, to := "", ""
		if n := len(s.Segments); n > 0 {
			first, last := s.Segments[0], s.Segments[n-1]
			from = fmt.Sprintf("%d/%d", first.Universe, first.FirstChannel)
			to = fmt.Sprintf("%d/%d", last.Universe, last.FirstChannel+last.Channels-1)
		}
		nulls := ""
		if s.NullPixels > 0 {
			nulls = strconv.Itoa(s.NullPixels)
		}
		lowest := textout.Known(s.LowestVolts, 2, "V")
		if s.Starved {
			lowest = "none left"
		}
		at := ""
		if s.LowestVoltsPixel > 0 {
			at = strconv.Itoa(s.LowestVoltsPixel)
		}
		t.Add(s.Name, s.Label, s.Controller, s.Port, strconv.Itoa(s.Pixels), nulls, string(s.Order), from, to,
			textout.Known(s.FullWhiteAmps, 2, "A"), lowest, at, bandText(s.LowestVoltsBand), textout.Fixed(s.WithinFusesPercent, 0)+" %", s.WithinFusesBy)
	}
	return t
}

// bandText is volts as a band; "": not known.
func bandText(b *budget.Band) string {
	if b == nil {
		return ""
	}
	return fmt.Sprintf("%s to %s V", textout.Fixed(b.Least, 2), textout.Fixed(b.Most, 2))
}

// together says what the column of levels means, and the level of all strings at once.
func (v *View) together() string {
	text := fmt.Sprintf("  Level allowed: for a string alone, or with every string at that same level.\n  All strings at once: %s %%", textout.Fixed(v.WithinFusesPercent, 0))
	if v.WithinFusesBy != "" {
		text += ", because of: " + v.WithinFusesBy
	}
	return text + ".\n"
}

func (v *View) feedTable() *textout.Table {
	t := textout.NewTable("string", "at", "from", ">full white", ">fuse", ">load", ">level allowed")
	for _, s := range v.Strings {
		for _, f := range s.Feeds {
			if f.Supply == "" && f.FuseAmps == 0 {
				continue
			}
			t.Add(s.Name, f.At, cmp.Or(f.From, f.Supply, "-"), textout.Known(f.FullWhiteAmps, 2, "A"), textout.Known(f.FuseAmps, -1, "A"), textout.Known(f.FuseLoadPercent, 0, "%"), textout.Fixed(f.WithinFusesPercent, 0)+" %")
		}
	}
	return t
}

func (v *View) feederTable() *textout.Table {
	t := textout.NewTable("feeder", "supply", ">full white", ">fuse", ">load", ">at its end", ">level allowed")
	for _, f := range v.Feeders {
		t.Add(f.Name, cmp.Or(f.Supply, "-"), textout.Known(f.FullWhiteAmps, 2, "A"), textout.Known(f.FuseAmps, -1, "A"), textout.Known(f.FuseLoadPercent, 0, "%"), textout.Known(f.Volts, 2, "V"), textout.Fixed(f.WithinFusesPercent, 0)+" %")
	}
	return t
}

func (v *View) supplyTable() *textout.Table {
	t := textout.NewTable("supply", ">full white", ">limit", ">load", "")
	for _, s := range v.Supplies {
		note := ""
		if s.Unknown {
			note = "plus strings whose amps are not known"
		}
		t.Add(s.Name, textout.Known(s.FullWhiteAmps, 2, "A"), textout.Known(s.LimitAmps, 2, "A"), textout.Known(s.LoadPercent, 0, "%"), note)
	}
	return t
}

func (v *View) enclosureTable() *textout.Table {
	t := textout.NewTable("enclosure", ">heat", ">outside", ">inside")
	for _, e := range v.Enclosures {
		t.Add(e.Name, textout.Fixed(e.Watts, 0)+" W", textout.Fixed(e.Outside, 0)+" °C", textout.Fixed(e.Inside, 0)+" °C")
	}
	return t
}

func (v *View) inputTable() *textout.Table {
	t := textout.NewTable("controller", ">full white", ">limit", ">load")
	for _, c := range v.Controllers {
		if c.LimitAmps > 0 {
			t.Add(c.Name, textout.Known(c.FullWhiteAmps, 2, "A"), textout.Known(c.LimitAmps, 2, "A"), textout.Known(c.LoadPercent, 0, "%"))
		}
	}
	return t
}

func (v *View) portTable() *textout.Table {
	t := textout.NewTable("controller", "port", "output", ">pixels", ">refresh", ">at most")
	for _, p := range v.Ports {
		t.Add(p.Controller, p.Port, p.Output, strconv.Itoa(p.Pixels), textout.Known(p.RefreshMS, 2, "ms"), textout.Known(p.MaxRateHz, 1, "Hz"))
	}
	return t
}

func (v *View) chipTable() *textout.Table {
	t := textout.NewTable("chip", ">rate", ">bits", ">reset", ">white", ">dark", "source")
	for _, c := range v.Chips {
		t.Add(c.Name, textout.Known(c.Kilobits, -1, "kbit/s"), textout.Known(float64(c.Bits), -1, ""), textout.Known(c.ResetUS, -1, "us"),
			textout.Known(1000*c.AmpsPerPixel, 1, "mA"), textout.Known(1000*c.IdleAmpsPerPixel, 1, "mA"), c.Source)
	}
	return t
}

// unchecked gathers what could not be checked: notes that say the same of several
// strings are one line.
func (v *View) unchecked() []string {
	var order []string
	subjects := map[string][]string{}
	for _, n := range v.Notes {
		subject, what, ok := strings.Cut(n.What, ": ")
		if !ok {
			subject, what = n.Where.String(), n.What
		}
		if subjects[what] == nil {
			order = append(order, what)
		}
		subjects[what] = append(subjects[what], subject)
	}
	lines := make([]string, len(order))
	for i, what := range order {
		lines[i] = textout.Some(subjects[what], 8) + ": " + what
	}
	return lines
}

// losses says what fails when a feed is gone, where that is more than the string
// that it alone feeds.
func (v *View) losses() []string {
	var lines []string
	for _, s := range v.Strings {
		for _, f := range s.Feeds {
			if len(s.Feeds) > 1 && f.Lost != nil && len(f.Lost.Fails) > 0 {
				lines = append(lines, fmt.Sprintf("%s, feed at %s: %s", s.Name, f.At, strings.Join(f.Lost.Fails, "; ")))
			}
		}
	}
	for _, f := range v.Feeders {
		if f.Lost != nil {
			lines = append(lines, fmt.Sprintf("feeder %s: %s", f.Name, f.Lost.Text()))
		}
	}
	return lines
}

func (v *View) universeTable() *textout.Table {
	t := textout.NewTable(">universe", "destination", ">channels", "controllers", "reserved for")
	for _, u := range v.Universes {
		var reserved []string
		for _, k := range v.plan.Reserved {
			if k.Universe == u.Universe {
				reserved = append(reserved, strings.TrimSpace(k.Channels()+" "+k.What))
			}
		}
		t.Add(fmt.Sprint(u.Universe), u.Destination, strconv.Itoa(u.Channels), strings.Join(u.Controllers, ", "), strings.Join(reserved, "; "))
	}
	return t
}
