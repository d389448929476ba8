package design

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"time"

	"yardproof/config"
	"yardproof/config/amend"
	"yardproof/config/budget"
)

// Plugs is which string goes to which port.
type Plugs struct {
	Moves  []Move   `json:"moves"` // plugs to move, in the plan's order
	Labels []Label  `json:"labels"`
	Why    string   `json:"why_not,omitempty"` // nothing is proposed
	Wrong  []string `json:"today"`             // what is wrong with the ports today

	plan   *config.Plan
	to     map[int]seat // by string: where it goes, of those that change
	budget *budget.Budget
}

// Move is a plug to move.
type Move struct {
	String string `json:"string"`
	Tag    string `json:"tag,omitempty"`
	From   string `json:"from"`
	To     string `json:"to"`
}

// Label is what the label of a string's pigtail says from then on.
type Label struct {
	Tag        string `json:"tag,omitempty"`
	String     string `json:"string"`
	Controller string `json:"controller"`
	Port       string `json:"port"`
	After      string `json:"after,omitempty"`
	Universe   int    `json:"universe"`
	Channel    int    `json:"channel"`
	Pixels     int    `json:"pixels"`
}

// A seat is where a string goes.
type seat struct {
	controller        *config.Controller
	port              string
	after             *config.String
	universe, channel int // of its own; 0: as today
}

// Ports proposes the ports of a plan without errors: each within its pixels and the
// time of a frame, each controller within its universes, each lead within its length,
// with the fewest plugs moved. Strings behind receivers stay where they are.
func Ports(ctx context.Context, plan *config.Plan, b *budget.Budget) *Plugs {
	out := &Plugs{Moves: []Move{}, Labels: []Label{}, Wrong: []string{}, plan: plan, budget: b, to: map[int]seat{}}
	w, index := out.wall()
	for p := range w.ports {
		if why := w.wrong(p, index, plan); why != "" {
			out.Wrong = append(out.Wrong, why)
		}
	}
	for c, most := range w.most {
		now := make([]int, len(w.plugs))
		whole := most > 0
		for i, x := range w.plugs {
			now[i] = x.port
			whole = whole && x.port >= 0
		}
		if whole && !w.universes(now, c) {
			out.Wrong = append(out.Wrong, fmt.Sprintf("controller %s takes %d universes, and its strings have more", plan.Controllers[c].Name, most))
		}
	}
	for k, x := range w.plugs {
		s := plan.Strings[index[k]]
		if x.port < 0 {
			out.Wrong = append(out.Wrong, fmt.Sprintf("string %s is on no port", s.Name))
		}
		if !slices.ContainsFunc(w.ports, func(p port) bool { return w.fits(slices.Index(w.ports, p), x.pixels, x.chip) }) {
			t, _ := x.chip.LineTime(x.pixels)
			out.Why = fmt.Sprintf("string %s has %d pixels, %.1f ms on its data line, more than any port can drive alone: split it", s.Name, x.pixels, float64(t)/1e6)
			return out
		}
	}
	assigned, moves, overtime := w.fewest(ctx)
	switch {
	case assigned == nil && overtime:
		out.Why = fmt.Sprintf("time ran out: at least %d plugs have to be moved; give --seconds more", max(moves, 1))
	case assigned == nil:
		out.Why = "no arrangement on these ports holds: add a controller, or write ports: with how many each has"
	default:
		out.take(w, index, assigned)
	}
	return out
}

// wrong says what a port cannot do that is asked of it today.
func (w *wall) wrong(p int, index []int, plan *config.Plan) string {
	pixels, chip := 0, budget.Chip{}
	for i, x := range w.plugs {
		if x.port != p {
			continue
		}
		if pixels > 0 && !oneKind(chip, x.chip) {
			return fmt.Sprintf("%s: string %s has another chip than those ahead of it", w.ports[p].name, plan.Strings[index[i]].Name)
		}
		pixels, chip = pixels+x.pixels, x.chip
	}
	if pixels == 0 || w.fits(p, pixels, chip) {
		return ""
	}
	t, _ := chip.LineTime(pixels)
	return fmt.Sprintf("%s: %d pixels take %.1f ms, and a port drives %s in %.1f ms", w.ports[p].name, pixels, float64(t)/1e6, orAny(w.ports[p].pixels), float64(w.period)/1e6)
}

func orAny(pixels int) string {
	if pixels == 0 {
		return "what it can"
	}
	return strconv.Itoa(pixels) + " pixels"
}

// wall is the plan as the search sees it, and the strings of its plugs.
func (out *Plugs) wall() (*wall, []int) {
	plan := out.plan
	w := &wall{held: map[string]int{}, period: time.Duration(1e9 / plan.Network.Rate)}
	var index []int
	byPort := map[[2]string]int{}
	add := func(c int, name string) int {
		ctrl := plan.Controllers[c]
		key := [2]string{ctrl.Name, name}
		if p, ok := byPort[key]; ok {
			return p
		}
		byPort[key] = len(w.ports)
		w.ports = append(w.ports, port{controller: c, pixels: ctrl.MaxPixelsPerPort, port: name, name: "controller " + ctrl.Name + ", port " + name})
		return byPort[key]
	}
	remote := map[[2]string]bool{} // ports with receivers
	for _, s := range plan.Strings {
		if s.Controller != nil && (s.Receiver != "" || s.Output != "") {
			remote[[2]string{s.Controller.Name, s.Port}] = true
		}
	}
	for c, ctrl := range plan.Controllers {
		w.most = append(w.most, ctrl.MaxUniverses)
		for n := range ctrl.Ports {
			if !remote[[2]string{ctrl.Name, strconv.Itoa(n + 1)}] {
				add(c, strconv.Itoa(n+1))
			}
		}
	}
	onLine := map[int]int{} // by port: the plug at its end
	for i, s := range plan.Strings {
		chip := out.budget.Strings[i].Chip
		if chip.Wires == 0 || s.Receiver != "" || s.Output != "" {
			continue
		}
		x := plug{pixels: budget.LinePixels(s), chip: chip, port: -1, ahead: -1}
		for _, seg := range plan.Map().Strings[i].Segments {
			x.universes = append(x.universes, seg.Universe)
		}
		if s.Controller != nil && s.Port != "" && !remote[[2]string{s.Controller.Name, s.Port}] {
			x.port = add(slices.Index(plan.Controllers, s.Controller), s.Port)
			if ahead, ok := onLine[x.port]; ok {
				x.ahead = ahead
			}
			onLine[x.port] = len(w.plugs)
		}
		w.plugs, index = append(w.plugs, x), append(index, i)
	}
	w.near = func(i, p int) bool {
		d, ok := plan.Strings[index[i]].Spot.Metres(plan.Controllers[w.ports[p].controller].Spot)
		return !ok || d <= budget.LongestDataLead
	}
	w.chained = func(a, b int) bool {
		end := plan.Strings[index[a]].EndSpot
		d, ok := end.Metres(plan.Strings[index[b]].Spot)
		return !ok || d <= budget.LongestDataLead
	}
	w.clash = func(a, b int) bool { return overlap(plan, index[a], index[b]) }
	return w, index
}

// overlap reports whether two strings use a channel of the same number.
func overlap(plan *config.Plan, a, b int) bool {
	for _, x := range plan.Map().Strings[a].Segments {
		for _, y := range plan.Map().Strings[b].Segments {
			if x.Universe == y.Universe && x.FirstChannel < y.FirstChannel+y.Channels && y.FirstChannel < x.FirstChannel+x.Channels {
				return true
			}
		}
	}
	return false
}

// take writes down what an assignment changes.
func (out *Plugs) take(w *wall, index, assigned []int) {
	plan := out.plan
	h := w.hands()
	free := 1
	for _, u := range plan.Map().Universes {
		free = max(free, int(u.Number)+1)
	}
	for i, p := range assigned {
		s, stays, last := plan.Strings[index[i]], h.stays(i, p), h.last[p]
		h.put(i, p)
		to := seat{controller: plan.Controllers[w.ports[p].controller], port: w.ports[p].port}
		if last >= 0 {
			to.after = plan.Strings[index[last]]
		}
		if w.renumbered(assigned, i) {
			to.universe, to.channel = free, 1
			free += len(w.plugs[i].universes)
		}
		if stays && to.controller == s.Controller && to.port == s.Port && to.universe == 0 {
			continue
		}
		out.to[index[i]] = to
		if !stays {
			out.Moves = append(out.Moves, Move{String: s.Name, Tag: s.Label, From: where(w, i, index, plan), To: seatText(to)})
		}
		label := Label{Tag: s.Label, String: s.Name, Controller: to.controller.Name, Port: to.port, Universe: int(s.Universe), Channel: s.Channel, Pixels: s.Pixels}
		if to.universe > 0 {
			label.Universe, label.Channel = to.universe, to.channel
		}
		if to.after != nil {
			label.After = to.after.Name
		}
		out.Labels = append(out.Labels, label)
	}
}

func where(w *wall, i int, index []int, plan *config.Plan) string {
	switch x := w.plugs[i]; {
	case x.ahead >= 0:
		return "the end of string " + plan.Strings[index[x.ahead]].Name
	case x.port >= 0:
		return w.ports[x.port].name
	}
	return "no port"
}

func seatText(to seat) string {
	if to.after != nil {
		return fmt.Sprintf("the end of string %s (controller %s, port %s)", to.after.Name, to.controller.Name, to.port)
	}
	return fmt.Sprintf("controller %s, port %s", to.controller.Name, to.port)
}

// Patch changes the text of the plan to what was proposed, and makes sure that it loads
// and is that.
func (out *Plugs) Patch(file string, text []byte) (*amend.Text, error) {
	t, err := amend.Parse(text)
	if err != nil {
		return nil, err
	}
	for i := range out.plan.Strings {
		to, ok := out.to[i]
		if !ok {
			continue
		}
		s := out.plan.Strings[i]
		m, ok := t.Item("strings", i)
		if !ok {
			return nil, fmt.Errorf("string %s is not written in a place of its own; change it by hand", s.Name)
		}
		if s.Controller != to.controller {
			m.Set("controller", t.Scalar(to.controller.Name))
		}
		if s.Port != to.port {
			m.Set("port", t.Scalar(to.port))
		}
		switch {
		case to.after != nil && s.After != to.after:
			m.Set("after", t.Scalar(to.after.Name))
		case to.after == nil && m.Has("after"):
			m.Remove("after")
		}
		if to.universe > 0 {
			m.Set("universe", t.Scalar(to.universe))
			m.Set("channel", t.Scalar(to.channel))
		}
	}
	is, err := patched(file, t)
	if err != nil {
		return nil, err
	}
	for i, s := range is.Strings {
		to, ok := out.to[i]
		was := out.plan.Strings[i]
		if !ok {
			to = seat{controller: was.Controller, port: was.Port}
		}
		if name(s.Controller) != name(to.controller) || s.Port != to.port {
			return nil, errors.New("this plan is written in a way that cannot be changed in place: write the ports of each string out, without anchors")
		}
	}
	return t, nil
}

func name(c *config.Controller) string {
	if c == nil {
		return ""
	}
	return c.Name
}
