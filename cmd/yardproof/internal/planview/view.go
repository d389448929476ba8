// Package planview is a plan as people read it: text, JSON and rows, the settings
// Sheet of a controller, a bill of material, the volts along a string, the currents
// of every pattern, a picture; and a plan made from the rows of a spreadsheet. It
// refuses to know about flags, files and the network.
package planview

import (
	"io"
	"slices"

	"yardproof/cmd/yardproof/internal/planfile"
	"yardproof/cmd/yardproof/internal/textout"
	"yardproof/config"
	"yardproof/config/budget"
	"yardproof/config/protection"
	"yardproof/sacn"
)

// View is a plan with all that follows from it. As JSON it is the answer of
// plan --format json, whose keys other programs rely on. What is not known is
// left out.
type View struct {
	plan *config.Plan
	addr *config.AddressMap

	Name      string         `json:"name"`
	Universes []universeView `json:"universes"`
	Strings   []stringView   `json:"strings"`

	// Of everything lit at once; a string's own level holds for it alone, or with
	// every string at that same level.
	WithinFusesPercent float64 `json:"within_fuses_percent"`
	WithinFusesBy      string  `json:"within_fuses_by,omitempty"`

	Ports       []budget.Port       `json:"ports"`
	Feeders     []budget.Feeder     `json:"feeders,omitempty"`
	Controllers []budget.Controller `json:"controllers,omitempty"`
	Supplies    []budget.Supply     `json:"supplies"`
	Enclosures  []budget.Enclosure  `json:"enclosures,omitempty"`
	Network     budget.Network      `json:"network"`
	Chips       []budget.ChipUse    `json:"chips,omitempty"`
	Notes       []budget.Note       `json:"notes,omitempty"`
	Protection  *protection.Report  `json:"protection,omitempty"`
	Problems    []config.Problem    `json:"problems"`

	budget   *budget.Budget
	problems string // how many warnings, and where the first is
}

type universeView struct {
	Universe         uint16   `json:"universe"`
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
	Universe         uint16           `json:"universe"`
	Channel          int              `json:"channel"`
	Pixels           int              `json:"pixels"`
	NullPixels       int              `json:"null_pixels"`
	Order            config.Order     `json:"order"`
	ChannelsPerPixel int              `json:"channels_per_pixel"`
	Segments         []config.Segment `json:"segments"`
	budget.String
}

// New computes all that follows from a plan. With errors in the plan it shows as
// much as was understood.
func New(c planfile.Checked) *View {
	plan, b := c.Plan, c.Budget
	if b == nil && plan.Pixels() <= config.MaxPixels {
		b = budget.New(plan)
	}
	if b == nil {
		b = &budget.Budget{Strings: make([]budget.String, len(plan.Strings))}
	}
	v := &View{
		plan: plan, addr: plan.Map(), budget: b, WithinFusesPercent: b.WithinFusesPercent, WithinFusesBy: b.WithinFusesBy,
		Name: plan.Name, Ports: some(b.Ports), Feeders: b.Feeders, Controllers: b.Controllers, Supplies: some(b.Supplies), Enclosures: b.Enclosures,
		Network: b.Network, Chips: b.Chips, Notes: b.Notes, Problems: some(c.Problems), problems: c.Warnings(),
	}
	if v.Protection = c.Protection; v.Protection != nil {
		v.Notes = slices.Concat(v.Notes, v.Protection.Notes)
	}
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
		return sacn.MulticastAddr6(u.Number).String()
	}
	return sacn.MulticastAddr4(u.Number).String()
}

// find is the string of a name.
func (v *View) find(name string) (*config.String, error) {
	if s := v.plan.Find(name); s != nil {
		return s, nil
	}
	var names []string
	for _, s := range v.plan.Strings {
		names = append(names, s.Name)
	}
	return nil, planfile.NoSuch("string", name, names)
}

// Print prints all of it as text, json or csv.
func (v *View) Print(w io.Writer, format string) error {
	switch format {
	case "json":
		return streamJSON(w, v)
	case "csv":
		return v.csv(w)
	}
	return v.text(w)
}

// csv prints one row for each segment.
func (v *View) csv(out io.Writer) error {
	w := textout.NewCSV(out)
	w.Row("string", "label", "controller", "port", "order", "universe", "first_channel", "channels", "first_pixel", "pixels", "destination")
	for i, s := range v.Strings {
		for j, seg := range s.Segments {
			u := v.addr.Universes[v.addr.Strings[i].Copies[j].Universe]
			w.Row(s.Name, s.Label, s.Controller, s.Port, string(s.Order), seg.Universe, seg.FirstChannel, seg.Channels,
				seg.FirstPixel, seg.Pixels, destination(v.plan, u))
		}
	}
	return w.Flush()
}
