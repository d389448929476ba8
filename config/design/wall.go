package design

import (
	"context"
	"slices"
	"time"

	"yardproof/config/budget"
)

// A wall is the ports of all controllers and the strings that are to be plugged in, in
// the plan's order, which is that of their data. A string's plug is in a port, or in
// the end of the string ahead of it on the same port.
type wall struct {
	plugs  []plug
	ports  []port
	most   []int // universes, by controller; 0: any number
	period time.Duration

	near    func(string, port int) bool // a lead reaches from the port
	chained func(ahead, string int) bool
	clash   func(a, b int) bool // both on one controller they would overlap

	held map[string]int // pixels that fit into a frame, by chip
}

// A plug is one string's.
type plug struct {
	pixels    int // on the line
	chip      budget.Chip
	port      int // where it is; -1: in none
	ahead     int // the string whose end it is in; -1: none
	universes []uint16
}

type port struct {
	controller int
	pixels     int    // the most; 0: any number
	port       string // as the plan calls it
	name       string // with its controller's
}

// fits reports whether a port can drive so many pixels of a chip in time.
func (w *wall) fits(p, pixels int, chip budget.Chip) bool {
	if most := w.ports[p].pixels; most > 0 && pixels > most {
		return false
	}
	t, ok := chip.LineTime(pixels)
	return !ok || t <= w.period
}

func oneKind(a, b budget.Chip) bool {
	return a.Wires == b.Wires && a.BitsPerSecond == b.BitsPerSecond && a.BitsPerPixel == b.BitsPerPixel
}

// universes reports whether a controller has no more than it takes. A string that would
// overlap one ahead of it on a controller that it comes to gets universes of its own.
func (w *wall) universes(assigned []int, controller int) bool {
	most := w.most[controller]
	if most == 0 {
		return true
	}
	seen, own := map[uint16]bool{}, 0
	for i, p := range assigned {
		if w.ports[p].controller != controller {
			continue
		}
		if w.renumbered(assigned, i) {
			own += len(w.plugs[i].universes)
			continue
		}
		for _, u := range w.plugs[i].universes {
			seen[u] = true
		}
	}
	return len(seen)+own <= most
}

// renumbered reports whether a string needs other universes where it goes.
func (w *wall) renumbered(assigned []int, i int) bool {
	now, c := w.plugs[i].port, w.ports[assigned[i]].controller
	if now >= 0 && w.ports[now].controller == c {
		return false
	}
	for j, p := range assigned {
		if j != i && w.ports[p].controller == c && w.clash(i, j) {
			stays := w.plugs[j].port >= 0 && w.ports[w.plugs[j].port].controller == c
			if stays || j < i {
				return true
			}
		}
	}
	return false
}

// count is how many plugs an assignment moves; false when it does not hold.
func (w *wall) count(assigned []int) (int, bool) {
	h := w.hands()
	for i, p := range assigned {
		if !h.allowed(i, p) {
			return 0, false
		}
		h.put(i, p)
	}
	for c := range w.most {
		if !w.universes(assigned, c) {
			return 0, false
		}
	}
	return h.moved, true
}

// hands put plugs in, one string after the other.
type hands struct {
	w        *wall
	last     []int // by port: the string at its end; -1: none
	load     []int // pixels, by port
	assigned []int
	moved    int
	steps    int

	seen map[string]int // states that lead nowhere, with the moves made by then
	cut  bool           // something was given up for its moves
	key  []byte
}

// mostSeen bounds the memory for states.
const mostSeen = 1 << 20

func (w *wall) hands() *hands {
	h := &hands{w: w, last: make([]int, len(w.ports)), load: make([]int, len(w.ports))}
	for p := range h.last {
		h.last[p] = -1
	}
	return h
}

// stays reports whether a string's plug is where it is today when it goes to a port.
func (h *hands) stays(i, p int) bool {
	x := h.w.plugs[i]
	if x.ahead >= 0 {
		return h.last[p] == x.ahead
	}
	return x.port == p && h.last[p] < 0
}

func (h *hands) allowed(i, p int) bool {
	x, last := h.w.plugs[i], h.last[p]
	switch {
	case !h.w.fits(p, h.load[p]+x.pixels, x.chip):
		return false
	case last >= 0 && !oneKind(h.w.plugs[last].chip, x.chip):
		return false
	case h.stays(i, p):
		return true
	case last >= 0:
		return h.w.chained(last, i)
	}
	return h.w.near(i, p)
}

// put puts a string into a port, and returns what undoes it.
func (h *hands) put(i, p int) (undo func()) {
	last, moved := h.last[p], h.moved
	if !h.stays(i, p) {
		h.moved++
	}
	h.last[p], h.load[p] = i, h.load[p]+h.w.plugs[i].pixels
	h.assigned = append(h.assigned, p)
	return func() {
		h.last[p], h.moved = last, moved
		h.load[p] -= h.w.plugs[i].pixels
		h.assigned = h.assigned[:i]
	}
}

// fewest finds an assignment that moves the fewest plugs: it allows none, then one, and
// so on. Without one it returns how many are not enough; over says that time ran out.
func (w *wall) fewest(ctx context.Context) (assigned []int, moves int, overtime bool) {
	for moves = w.hands().atLeast(); moves <= len(w.plugs); moves++ {
		h := w.hands()
		h.seen = map[string]int{}
		if h.search(ctx, moves) {
			return h.assigned, moves, false
		}
		if ctx.Err() != nil {
			return nil, moves, true
		}
		if !h.cut {
			break // more moves would not do either
		}
	}
	return nil, moves, false
}

// search goes on from the strings that are in, with so many moves at most.
func (h *hands) search(ctx context.Context, moves int) bool {
	w, i := h.w, len(h.assigned)
	if h.steps++; h.steps%1024 == 0 && ctx.Err() != nil {
		return false
	}
	if i == len(w.plugs) {
		for c := range w.most {
			if !w.universes(h.assigned, c) {
				return false
			}
		}
		return true
	}
	if h.moved+h.atLeast() > moves {
		h.cut = true
		return false
	}
	if !h.room() {
		return false
	}
	state := h.state()
	if made, ok := h.seen[state]; ok && made <= h.moved {
		h.cut = true
		return false
	}
	if h.branch(ctx, moves) {
		return true
	}
	if len(h.seen) < mostSeen {
		h.seen[state] = h.moved
	}
	return false
}

// branch tries each port for the next string, first that at which its plug stays.
func (h *hands) branch(ctx context.Context, moves int) bool {
	w, i := h.w, len(h.assigned)
	stay := -1
	for p := range w.ports {
		if h.stays(i, p) {
			stay = p
		}
	}
	if stay >= 0 && h.try(ctx, i, stay, moves) {
		return true
	}
	if h.moved == moves {
		h.cut = true
		return false
	}
	empty := map[int]bool{} // controllers of which a port was tried that nothing tells from others
	for p, at := range w.ports {
		if p == stay {
			continue
		}
		if h.last[p] < 0 && !slices.ContainsFunc(w.plugs[i:], func(x plug) bool { return x.port == p }) {
			if empty[at.controller] {
				continue
			}
			empty[at.controller] = true
		}
		if h.try(ctx, i, p, moves) {
			return true
		}
	}
	return false
}

func (h *hands) try(ctx context.Context, i, p, moves int) bool {
	if !h.allowed(i, p) {
		return false
	}
	undo := h.put(i, p)
	if !h.few(h.w.ports[p].controller) {
		undo()
		return false
	}
	if h.moved <= moves && h.search(ctx, moves) {
		return true
	}
	undo()
	return false
}
