package planview

import (
	"cmp"
	"fmt"
	"io"
	"math"
	"slices"

	"yardproof/cmd/yardproof/internal/textout"
	"yardproof/config"
)

// line is one thing to buy or to pack.
type line struct {
	item, what string
	unit       string
	where      []string
	quantity   float64
}

// Bill prints what the plan needs: controllers, supplies, fuses, pixels, and
// wire by length. A metre of wire is a metre of both conductors. Spares and
// waste are the reader's to add.
func (v *View) Bill(out io.Writer) error {
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
			add("wire", w.String(), "m of two conductors", where, w.Metres)
		}
	}
	fuse := func(amps float64, where string) {
		if amps > 0 {
			add("fuse", textout.Number(amps)+" A, DC-rated", "", where, 1)
		}
	}

	for _, c := range v.plan.Controllers {
		add("controller", "E1.31 pixel controller", "", c.Name, 1)
	}
	for _, s := range v.plan.Supplies {
		add("supply", fmt.Sprintf("%s V, %s W", textout.Number(s.Volts), textout.Number(s.Watts)), "", s.Name, 1)
	}
	for _, f := range v.plan.Feeders {
		fuse(f.FuseAmps, f.Name)
		wire(f.Wire, f.Name)
	}
	for _, s := range v.plan.Strings {
		volts := ""
		if s.Volts > 0 {
			volts = ", " + textout.Number(s.Volts) + " V"
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
	w := textout.NewCSV(out)
	w.Row("item", "what", "quantity", "unit", "for")
	for _, l := range lines {
		w.Row(l.item, l.what, math.Round(l.quantity*1000)/1000, l.unit, textout.Some(l.where, 20))
	}
	return w.Flush()
}
