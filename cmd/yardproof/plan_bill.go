package main

import (
	"cmp"
	"fmt"
	"io"
	"math"
	"slices"

	"yardproof/config"
)

// line is one thing to buy or to pack.
type line struct {
	item, what string
	unit       string
	where      []string
	quantity   float64
}

// bill prints what the plan needs: controllers, supplies, fuses, pixels, and
// wire by length. A metre of wire is a metre of both conductors. Spares and
// waste are the reader's to add.
func (v *planView) bill(out io.Writer) error {
	var lines []*line
	index := map[[2]string]*line{}
	add := func(item, what, unit, where string, quantity float64) {
		key := [2]string{item, what}
		l := index[key]
		if l == nil {
			l = &line{item: item, what: what, unit: unit}
			index[key] = l
			lines = append(lines, l)
		}
		l.quantity += quantity
		if n := len(l.where); n == 0 || l.where[n-1] != where {
			l.where = append(l.where, where)
		}
	}
	wire := func(w config.Wire, where string) {
		if w.Known() && w.Metres > 0 {
			add("wire", wireText(w), "m of two conductors", where, w.Metres)
		}
	}
	fuse := func(amps float64, where string) {
		if amps > 0 {
			add("fuse", plain(amps)+" A, DC-rated", "", where, 1)
		}
	}

	for _, c := range v.plan.Controllers {
		add("controller", "E1.31 pixel controller", "", c.Name, 1)
	}
	for _, s := range v.plan.Supplies {
		add("supply", fmt.Sprintf("%s V, %s W", plain(s.Volts), plain(s.Watts)), "", s.Name, 1)
	}
	for _, f := range v.plan.Feeders {
		fuse(f.FuseAmps, f.Name)
		wire(f.Wire, f.Name)
	}
	for _, s := range v.plan.Strings {
		volts := ""
		if s.Volts > 0 {
			volts = ", " + plain(s.Volts) + " V"
		}
		add("pixels", chipName(s)+volts, "", s.Name, float64((s.Pixels+s.NullPixels)*s.Copies))
		for _, f := range s.Feeds {
			fuse(f.FuseAmps, s.Name)
			wire(f.Wire, s.Name)
		}
		for _, j := range s.Jumpers {
			wire(j.Wire, s.Name)
		}
		if s.DataLead > 0 {
			add("data lead", "data and return", "m", s.Name, s.DataLead)
		}
	}

	order := []string{"controller", "supply", "fuse", "wire", "data lead", "pixels"}
	slices.SortStableFunc(lines, func(a, b *line) int {
		return cmp.Compare(slices.Index(order, a.item), slices.Index(order, b.item))
	})
	w := newSheetCSV(out)
	w.row("item", "what", "quantity", "unit", "for")
	for _, l := range lines {
		w.row(l.item, l.what, math.Round(l.quantity*1000)/1000, l.unit, names(l.where, 20))
	}
	return w.flush()
}

// wireText names a wire by what it is made of.
func wireText(w config.Wire) string {
	var text string
	switch {
	case w.HasAWG:
		text = fmt.Sprintf("AWG %d", w.AWG)
	case w.MM2 > 0:
		text = plain(w.MM2) + " mm2"
	default:
		text = plain(w.Milliohms) + " milliohm/m"
	}
	if w.Metal == config.CCA {
		return text + ", copper-clad aluminium"
	}
	return text + ", copper"
}
