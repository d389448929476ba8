package main

import (
	"encoding/csv"
	"encoding/json"
	"io"
	"slices"
	"strconv"

	"yardproof/config"
	"yardproof/config/budget"
	"yardproof/sacn"
)

// planView is a plan with all that follows from it. As JSON it is the answer of
// plan --format json, whose keys other programs rely on. What is not known is
// left out.
type planView struct {
	plan *config.Plan
	addr *config.AddressMap

	Name        string              `json:"name"`
	Universes   []universeView      `json:"universes"`
	Strings     []stringView        `json:"strings"`
	Ports       []budget.Port       `json:"ports"`
	Feeders     []budget.Feeder     `json:"feeders,omitempty"`
	Controllers []budget.Controller `json:"controllers,omitempty"`
	Supplies    []budget.Supply     `json:"supplies"`
	Network     budget.Network      `json:"network"`
	Chips       []budget.ChipUse    `json:"chips,omitempty"`
	Notes       []budget.Note       `json:"notes,omitempty"`
	Problems    []config.Problem    `json:"problems"`

	budget *budget.Budget
}

type universeView struct {
	Universe         int      `json:"universe"`
	Channels         int      `json:"channels"`
	Destination      string   `json:"destination"`
	PacketsPerSecond float64  `json:"packets_per_second"`
	Controllers      []string `json:"controllers"`
}

type stringView struct {
	Name             string           `json:"name"`
	Label            string           `json:"label,omitempty"`
	Controller       string           `json:"controller,omitempty"`
	Port             string           `json:"port,omitempty"`
	Universe         int              `json:"universe"`
	Channel          int              `json:"channel"`
	Pixels           int              `json:"pixels"`
	NullPixels       int              `json:"null_pixels"`
	Order            config.Order     `json:"order"`
	ChannelsPerPixel int              `json:"channels_per_pixel"`
	Segments         []config.Segment `json:"segments"`
	budget.String
}

// newPlanView computes all that follows from a plan. With errors in the plan it
// shows as much as was understood.
func newPlanView(plan *config.Plan, problems []config.Problem) *planView {
	b := &budget.Budget{Strings: make([]budget.String, len(plan.Strings))}
	if plan.Pixels() <= config.MaxPixels {
		b = budget.New(plan)
	}
	v := &planView{
		plan: plan, addr: plan.Map(), budget: b,
		Name: plan.Name, Ports: some(b.Ports), Feeders: b.Feeders, Controllers: b.Controllers, Supplies: some(b.Supplies),
		Network: b.Network, Chips: b.Chips, Notes: b.Notes, Problems: some(append(problems, b.Problems...)),
	}
	config.SortProblems(v.Problems)
	v.Universes = make([]universeView, len(v.addr.Universes))
	for i, u := range v.addr.Universes {
		names := []string{}
		for _, c := range u.Controllers {
			names = append(names, c.Name)
		}
		v.Universes[i] = universeView{u.Number, u.Channels, destination(plan, u), plan.Network.Rate, names}
	}
	v.Strings = make([]stringView, len(plan.Strings))
	for i, s := range plan.Strings {
		v.Strings[i] = stringView{
			Name: s.Name, Label: s.Label, Port: s.Port,
			Universe: s.Universe, Channel: s.Channel, Pixels: s.Pixels, NullPixels: s.NullPixels,
			Order: s.Order, ChannelsPerPixel: s.ChannelsPerPixel(),
			Segments: some(v.addr.Strings[i].Segments),
			String:   b.Strings[i],
		}
		if s.Controller != nil {
			v.Strings[i].Controller = s.Controller.Name
		}
	}
	return v
}

// some makes an empty list of none, for JSON.
func some[T any](list []T) []T {
	if list == nil {
		return []T{}
	}
	return list
}

// destination is where the packets of a universe go.
func destination(plan *config.Plan, u config.Universe) string {
	switch {
	case u.Address.IsValid():
		return u.Address.String()
	case plan.Network.IPv6:
		return sacn.MulticastAddr6(uint16(u.Number)).String()
	}
	return sacn.MulticastAddr4(uint16(u.Number)).String()
}

// find is the index of a string by its name.
func (v *planView) find(name string) (int, error) {
	i := slices.IndexFunc(v.plan.Strings, func(s *config.String) bool { return s.Name == name })
	if i < 0 {
		return i, usagef("the plan has no string %q; yardproof plan lists them", name)
	}
	return i, nil
}

func (v *planView) json(w io.Writer) error { return planJSON(w, v) }

func planJSON(w io.Writer, answer any) error {
	enc := json.NewEncoder(w)
	enc.SetIndent("", "  ")
	enc.SetEscapeHTML(false)
	return enc.Encode(answer)
}

// csv prints one row for each segment.
func (v *planView) csv(out io.Writer) error {
	w := newSheetCSV(out)
	w.row("string", "label", "controller", "port", "order", "universe", "first_channel", "channels", "absolute_channel", "first_pixel", "pixels", "destination")
	for i, s := range v.Strings {
		for j, seg := range s.Segments {
			u := v.addr.Universes[v.addr.Strings[i].Copies[j].Universe]
			w.row(s.Name, s.Label, s.Controller, s.Port, string(s.Order), seg.Universe, seg.FirstChannel, seg.Channels,
				absolute(seg.Universe, seg.FirstChannel), seg.FirstPixel, seg.Pixels, destination(v.plan, u))
		}
	}
	return w.flush()
}

// absolute numbers all channels of all universes in one count, from 1.
func absolute(universe, channel int) int { return (universe-1)*config.Slots + channel }

// sheetCSV writes CSV for spreadsheets.
type sheetCSV struct{ w *csv.Writer }

func newSheetCSV(w io.Writer) sheetCSV { return sheetCSV{csv.NewWriter(w)} }

func (c sheetCSV) row(cells ...any) {
	row := make([]string, len(cells))
	for i, cell := range cells {
		switch cell := cell.(type) {
		case int:
			row[i] = strconv.Itoa(cell)
		case float64:
			row[i] = strconv.FormatFloat(cell, 'f', -1, 64)
		case string:
			row[i] = cellText(cell)
		}
	}
	c.w.Write(row) // the writer keeps the first error for flush
}

func (c sheetCSV) flush() error {
	c.w.Flush()
	return c.w.Error()
}

// cellText marks text that a spreadsheet would take for a formula.
func cellText(s string) string {
	if s != "" && (s[0] == '=' || s[0] == '+' || s[0] == '-' || s[0] == '@') {
		return "'" + s
	}
	return s
}
