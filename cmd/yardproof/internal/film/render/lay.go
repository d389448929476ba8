package render

import (
	"fmt"
	"math"
	"math/rand/v2"

	"yardproof/config"
)

// Image pixels from one pixel of a string to the next.
const (
	widestPitch  = 14.0
	closestPitch = 5.0 // closer ones a film tells apart no more
)

// Lay hangs the strings of any plan before the street, row under row, as far apart as
// there is room. What they show is to be rehearsed. It fails for a plan that is too large
// for one picture.
func Lay(plan *config.Plan, s Scene) (*Yard, error) {
	y := &Yard{Scene: s, rnd: rand.New(rand.NewPCG(s.Seed, 77))}
	wide, high := .88*float64(s.Width), .74*float64(s.Height)
	rows, per := 0, 0
	for y.Pitch = widestPitch; ; y.Pitch -= .5 {
		if y.Pitch < closestPitch {
			return nil, fmt.Errorf("the plan is too large for one film of %d by %d: film in parts, with --only-controllers", s.Width, s.Height)
		}
		rows, per = 0, int(wide/y.Pitch)
		for _, str := range plan.Strings {
			rows += (str.Pixels + per - 1) / per
		}
		if 1.5*y.Pitch*float64(rows) <= high {
			break
		}
	}
	row, step := 0, high/float64(max(1, rows))
	for _, str := range plan.Strings {
		hung, phase := String{Name: str.Name}, y.rnd.Float64()*6
		for k := range str.Pixels {
			fold, at := k/per, k%per
			if fold%2 == 1 {
				at = per - 1 - at // a long string turns back
			}
			x := .06*float64(s.Width) + float64(at)*y.Pitch
			sag := min(.2*step, 14) * math.Sin(x/90+phase)
			hung.Pixels = append(hung.Pixels, Pixel{X: x, Y: .06*float64(s.Height) + (float64(row+fold)+.5)*step + sag,
				Dies: string(str.Order), Visible: 1, bright: math.Exp(.15 * y.rnd.NormFloat64())})
		}
		row += (str.Pixels + per - 1) / per
		y.Strings = append(y.Strings, hung)
	}
	return y, nil
}
