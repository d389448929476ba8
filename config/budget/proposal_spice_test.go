package budget_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"yardproof/config"
	"yardproof/config/budget"
	"yardproof/config/configtest"
	"yardproof/config/design"
	"yardproof/sacn/sacntest"
)

// TestProposalsAgainstSpice applies proposals for random plans and has ngspice work out
// their volts: no lit pixel has less than it needs at the asked level, with wire, joints
// and pixels at the worst side of the tolerance. Regulators draw what their volts ask for.
func TestProposalsAgainstSpice(t *testing.T) {
	sacntest.NeedTool(t, "ngspice")
	compared, regulated, nearest := 0, 0, math.Inf(1)
	for seed := range uint64(10) {
		r := rand.New(rand.NewPCG(seed, 40))
		text := configtest.Broken(r, 24)
		out := design.New(t.Context(), configtest.Load(t, text), design.Options{Level: []float64{1, 0.6}[seed%2], LoseOne: seed%3 == 2, Work: 1500})
		if len(out.Strings) == 0 {
			continue
		}
		changed, err := out.Patch("test.yaml", []byte(text))
		if err != nil {
			t.Fatal(err)
		}
		plan := asked(t, string(changed.Bytes()), out.Level)
		b := budget.New(plan)
		worst, chips := sacntest.Spice(t, budget.NetlistAtWorst(b)), sacntest.Spice(t, budget.NetlistOfChips(b))
		for _, s := range out.Strings {
			got := worst
			i := slices.IndexFunc(plan.Strings, func(o *config.String) bool { return o.Name == s.Name })
			if b.Strings[i].Chip.Load == config.LoadPower {
				got = chips
				regulated++
			}
			compared++
			need := b.Strings[i].WorkingVolts
			low, pixel := lowest(plan.Strings[i], got)
			nearest = min(nearest, low-need)
			if need == 0 || !(low >= need-0.001) { // as near as ngspice is held to everywhere
				t.Errorf("plan %d, %s at %g: pixel %d has %.4f V by ngspice and needs %.4g V\n%s", seed, s.Name, out.Level, pixel, low, need, changed.Bytes())
			}
		}
	}
	t.Log(compared, "strings held against ngspice,", regulated, "with regulators; the nearest has", nearest, "V more than it needs")
	if compared < 15 || regulated == 0 || nearest > 0.1 {
		t.Error("too few for this to be a test")
	}
}

// asked is a plan's text as a plan of the strings that have their feeds, whose full white
// is the asked level.
func asked(t *testing.T, text string, level float64) *config.Plan {
	p := configtest.Load(t, text)
	b := budget.New(p)
	var fed []*config.String
	for i, s := range p.Strings {
		if s.Feeds[0].Supply == nil {
			continue
		}
		c := b.Strings[i].Chip
		s.AmpsPerPixel, s.IdleAmpsPerPixel = c.IdleAmpsPerPixel+level*(c.AmpsPerPixel-c.IdleAmpsPerPixel), c.IdleAmpsPerPixel
		fed = append(fed, s)
	}
	return p.Excerpt(fed...)
}

// lowest is the lowest volts of a lit pixel of a string, in what ngspice found.
func lowest(s *config.String, volts map[string]float64) (low float64, pixel int) {
	low = math.Inf(1)
	for k := 1; k <= s.Pixels; k++ {
		at := s.NullPixels + k
		p, ok := volts[budget.Node("p", s.Index, at)]
		if v := p - volts[budget.Node("n", s.Index, at)]; !ok || v < low {
			low, pixel = v, k
		}
	}
	return low, pixel
}
