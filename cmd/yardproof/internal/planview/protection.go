package planview

import (
	"cmp"
	"fmt"
	"strconv"

	"yardproof/cmd/yardproof/internal/textout"
)

// worstTable has a line for each string and conductor: the piece nearest to its
// limit, in one fault and in two at once.
func (v *View) worstTable() *textout.Table {
	t := textout.NewTable("string", "conductor", "worst piece", ">amps", ">limit", ">connector", ">fault at", "with")
	if v.Protection == nil {
		return t
	}
	for _, s := range v.Protection.Strings {
		for _, conductor := range []string{"V+", "return"} {
			for _, twice := range []bool{false, true} {
				p, ok := s.Nearest(conductor, twice)
				if !ok {
					continue
				}
				fault := ""
				if p.Fault > 0 {
					fault = fmt.Sprintf("pixel %d", p.Fault)
				}
				t.Add(s.Name, conductor, p.Place, textout.Fixed(p.Amps, 2)+" A", textout.Known(p.MayAmps, 1, "A"), textout.Known(p.Connector, 1, "A"), fault, cmp.Or(p.When, "everything whole"))
			}
		}
	}
	return t
}

func (v *View) reachTable() *textout.Table {
	t := textout.NewTable("string", "feed", ">fuse", ">least short", ">at pixel", ">needed", "")
	if v.Protection == nil {
		return t
	}
	for _, s := range v.Protection.Strings {
		for _, r := range s.Fuses {
			verdict := "seen"
			switch {
			case r.Unseen > 0:
				verdict = fmt.Sprintf("not seen beyond pixel %d", r.Unseen)
			case r.SupplyAmps > 0 && r.SupplyAmps < r.NeededAmps:
				verdict = fmt.Sprintf("the supply folds back first, at %s A", textout.Fixed(r.SupplyAmps, 1))
			}
			t.Add(s.Name, r.At, textout.Known(r.FuseAmps, -1, "A"), textout.Fixed(r.LeastAmps, 1)+" A", strconv.Itoa(r.LeastPixel), textout.Fixed(r.NeededAmps, 1)+" A", verdict)
		}
	}
	return t
}

func (v *View) mainsTable() *textout.Table {
	t := textout.NewTable("circuit", ">supplies", ">amps", ">limit", ">leakage", ">limit", ">inrush", ">trips from")
	if v.Protection == nil {
		return t
	}
	for _, m := range v.Protection.Mains {
		t.Add(m.Name, strconv.Itoa(m.Supplies), textout.Fixed(m.Amps, 1)+" A", textout.Fixed(m.LimitAmps, 1)+" A", textout.Fixed(m.LeakageMA, 1)+" mA",
			textout.Known(m.LimitMA, 1, "mA"), textout.Fixed(m.InrushAmps, 0)+" A", textout.Fixed(m.InrushLimit, 0)+" A")
	}
	return t
}
