package film

import (
	"cmp"
	"context"
	"io"
	"math"
	"slices"

	"yardproof/cmd/yardproof/internal/textout"
	"yardproof/config"
	"yardproof/patterns"
	"yardproof/patterns/camera"
)

// leastRun is how many lights make a string: fewer are told, and left to a person.
const leastRun = 5

// Draft is a plan as the light shows it, to be checked by a person: where each string
// begins, how many pixels it has, the order of its colours and how it is packed.
type Draft struct {
	name    string
	strings []drafted
	strays  []drafted // lights that no string was made of
}

// drafted is one string of a draft.
type drafted struct {
	universe      uint16
	channel       int
	pixels, seen  int
	order         config.Order
	straddles     bool
	first, blanks int // address; pixels between the first and the last that were not seen
}

// Learn reads a film without believing which strings there are: only which universes
// were sent, and how many slots a pixel has there, is taken from the plan.
func (r *Reader) Learn(ctx context.Context, progress func(done, of int)) (*Draft, error) {
	got, err := camera.Read(ctx, camera.Film{Times: r.times, Frame: r.frame, Cores: r.Cores, Progress: progress}, r.yard.sent)
	if err != nil {
		return nil, err
	}
	return r.yard.learn(got), nil
}

// farthest is how far apart two lights of a string lie, in pitches for each step of its
// addresses.
const farthest = 1.6

// chains are runs of lights whose addresses follow each other and that lie one after
// another: a string's end and the next one's beginning seldom touch. Lights are in the
// order of addresses.
func chains(lights []camera.Light) (all [][]*camera.Light) {
	for i := range lights {
		q, best, least := &lights[i], -1, math.MaxInt
		if q.Echo {
			continue
		}
		for c, run := range all {
			p := run[len(run)-1]
			step := q.First - p.First
			n := math.Round(float64(step) / float64(p.Slots))
			if step >= p.Slots && step <= gap*p.Slots+2 && step < least && q.Slots == p.Slots &&
				math.Hypot(p.X-q.X, p.Y-q.Y) <= farthest*n*max(p.Pitch, q.Pitch) {
				best, least = c, step
			}
		}
		if best < 0 {
			all = append(all, []*camera.Light{q})
		} else {
			all[best] = append(all[best], q)
		}
	}
	return all
}

// learn makes a string of each run of lights.
func (y *yard) learn(got *camera.Reading) *Draft {
	d, gain := &Draft{name: y.plan.Name}, gains(got.Lights)
	for _, lights := range chains(got.Lights) {
		str := y.draft(lights, gain)
		if len(lights) < leastRun {
			d.strays = append(d.strays, str)
		} else {
			d.strings = append(d.strings, str)
		}
	}
	for _, all := range [][]drafted{d.strings, d.strays} {
		slices.SortFunc(all, func(a, b drafted) int { return cmp.Compare(a.first, b.first) })
	}
	return d
}

// draft makes a string of a run of lights, which are in the order of addresses.
func (y *yard) draft(lights []*camera.Light, gain [3]float64) drafted {
	at := map[int]*camera.Light{}
	for _, l := range lights {
		at[l.First] = l
	}
	start, end, slots := lights[0].First, lights[len(lights)-1].First, lights[0].Slots
	along := func(pack config.Pack) (by []*camera.Light, seen int) {
		last := 0
		for k, a := range lay(start, (end-start)/slots+1, slots, pack) {
			if by = append(by, at[a]); at[a] != nil {
				seen, last = seen+1, k
			}
		}
		return by[:last+1], seen
	}
	by, seen := along(config.PackWhole)
	str := drafted{first: start, universe: uint16(y.plan.Map().Universes[start/patterns.CodeUniverse].Number), channel: start%patterns.CodeUniverse + 1}
	if other, more := along(config.PackContinuous); more > seen {
		by, seen, str.straddles = other, more, true
	}
	str.pixels, str.seen, str.blanks = len(by), seen, len(by)-seen
	str.order = config.Order("RGBW"[:slots])
	str.order = judgeColours(str.order, "", by, gain).letters(str.order)
	return str
}

// Write writes the draft as a plan, with what to check beside each string.
func (d *Draft) Write(w io.Writer) error {
	pen := &pen{w: w}
	pen.line("# A draft from a film of the light. Check every line before it is used.")
	pen.line("# A film does not show: pixels that are dark or hidden at an end, null pixels, which end has the data, feeds and supplies.")
	pen.line("name: %q", d.name+", drafted from a film")
	if slices.ContainsFunc(d.strings, func(s drafted) bool { return s.straddles }) {
		pen.line("controllers:\n  - {name: continuous, pack: continuous}")
	}
	pen.line("strings:")
	for i, s := range d.strings {
		controller := ""
		if s.straddles {
			controller = "controller: continuous, "
		}
		pen.line("  # %d of %s seen", s.seen, textout.Count(s.pixels, "pixel"))
		pen.line("  - {name: seen-%d, %suniverse: %d, channel: %d, pixels: %d, order: %s}", i+1, controller, s.universe, s.channel, s.pixels, s.order)
	}
	for _, s := range d.strays {
		pen.line("# %s at universe %d, channel %d: too few to be taken for a string", textout.Count(s.seen, "light"), s.universe, s.channel)
	}
	return pen.err
}

// Strings is how many strings were found.
func (d *Draft) Strings() int { return len(d.strings) }
