package design

import (
	"slices"
	"sort"
	"strings"

	"yardproof/config/budget"
)

// atLeast is how many plugs must move yet: when all that are not in stay with what they
// are in today, every port that cannot drive them has to lose one, and every string that
// is in no port needs one. A string that moves leaves one port, with all behind it.
func (h *hands) atLeast() int {
	w, n := h.w, 0
	at := slices.Clone(h.assigned)
	load := slices.Clone(h.load)
	over := make([]bool, len(w.ports))
	for i := len(at); i < len(w.plugs); i++ {
		x := w.plugs[i]
		p := x.port
		if x.ahead >= 0 {
			p = at[x.ahead]
		}
		at = append(at, p)
		if p < 0 {
			if x.ahead < 0 {
				n++
			}
			continue
		}
		load[p] += x.pixels
		if !over[p] && !w.fits(p, load[p], x.chip) {
			over[p] = true
			n++
		}
	}
	return n
}

// few reports whether a controller has no more universes than it takes, as far as the
// strings that are in tell: those that get others would only add to them.
func (h *hands) few(controller int) bool {
	most := h.w.most[controller]
	if most == 0 {
		return true
	}
	var seen []uint16
	for i, p := range h.assigned {
		if h.w.ports[p].controller != controller {
			continue
		}
		for _, u := range h.w.plugs[i].universes {
			if !slices.Contains(seen, u) {
				seen = append(seen, u)
			}
		}
	}
	return len(seen) <= most
}

// room reports whether the ports together have room for what is not in yet.
func (h *hands) room() bool {
	need, chip := 0, 0
	for k, x := range h.w.plugs[len(h.assigned):] {
		need += x.pixels
		if k == 0 || x.chip.BitsPerPixel > 0 && x.chip.BitsPerSecond > 0 {
			chip = max(chip, h.w.holds(x.chip))
		}
	}
	for p, at := range h.w.ports {
		most := chip
		if at.pixels > 0 && at.pixels < most {
			most = at.pixels
		}
		if need -= max(most-h.load[p], 0); need <= 0 {
			return true
		}
	}
	return need <= 0
}

// holds is how many pixels of a chip fit into a frame.
func (w *wall) holds(chip budget.Chip) int {
	if n, ok := w.held[chip.Name]; ok {
		return n
	}
	w.held[chip.Name] = sort.Search(1<<20, func(n int) bool {
		t, ok := chip.LineTime(n + 1)
		return ok && t > w.period
	})
	return w.held[chip.Name]
}

// state is the same for arrangements that differ in nothing for the strings to come:
// ports of a controller that none of them is in today are alike, in whichever order.
func (h *hands) state() string {
	w, n := h.w, len(h.assigned)
	var parts []string
	for p, at := range w.ports {
		own := 0
		if slices.ContainsFunc(w.plugs[n:], func(x plug) bool { return x.port == p }) {
			own = p + 1
		}
		h.key = h.key[:0]
		for _, v := range []int{at.controller, own, h.last[p] + 1, h.load[p]} {
			h.key = append(h.key, byte(v), byte(v>>8), byte(v>>16))
		}
		parts = append(parts, string(h.key))
	}
	slices.Sort(parts)
	for c, most := range w.most {
		if most > 0 { // which strings are there tells which universes are
			h.key = h.key[:0]
			for i, p := range h.assigned {
				if w.ports[p].controller == c {
					h.key = append(h.key, byte(i), byte(i>>8))
				}
			}
			parts = append(parts, string(h.key)+"|")
		}
	}
	return strings.Join(parts, "")
}
