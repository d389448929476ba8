package render

import (
	"time"

	"yardproof/cmd/yardproof/internal/rehearsal/yard"
	"yardproof/config"
	"yardproof/config/budget"
)

// Rehearse has a rehearsed yard light the pixels: what its receivers, ports, chips and
// wire make of what is sent, in place of this package's own ports.
func (y *Yard) Rehearse(plan *config.Plan, show Capture, faults ...yard.Fault) error {
	there, err := yard.New(plan, budget.New(plan), yard.Options{Seed: y.Seed, Faults: faults})
	if err != nil {
		return err
	}
	universes := plan.Map().Universes
	slots := make([][]byte, len(universes))
	y.rehearsed = make([][][]yard.Colour, len(show.frames))
	for n := range 2 * len(show.frames) { // of the first loop the last frame is on the wires yet
		for i, u := range universes {
			slots[i] = show.frames[n%len(show.frames)][512*i:][:u.Channels]
		}
		there.Frame(time.Duration(n)*show.period, slots)
		lit := make([][]yard.Colour, len(y.Strings))
		for i := range lit {
			lit[i] = there.Look(nil, i)
		}
		y.rehearsed[n%len(show.frames)] = lit
	}
	return nil
}

// colourThere is what a pixel of the rehearsed yard gives off.
func (t *take) colourThere(str, pixel int, at time.Duration) (c [3]float64) {
	frame := t.rehearsed[int(at/t.show.period)%len(t.rehearsed)][str]
	if pixel >= len(frame) {
		return c
	}
	px, p := frame[pixel], &t.Strings[str].Pixels[pixel]
	for letter, v := range map[byte]uint8{'R': px.R, 'G': px.G, 'B': px.B, 'W': px.W} {
		for k, s := range dies[letter] {
			c[k] += t.Core * p.bright * min(1, float64(v)/t.show.full) * s
		}
	}
	return c
}
