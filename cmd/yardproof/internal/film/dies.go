package film

import (
	"math"
	"slices"

	"yardproof/patterns/camera"
)

// Shares by which single dies are judged, worked out on 61 rendered films, half of them
// dark. Of the sound dies of 72,000 lights one is below twice these bounds, 2 are below 2.2
// times, 12 below 2.4 and 29 below 2.6: as that goes on, less than one light in a million is
// below them. Of 322 dies in sight that were missing all but 3 are.
const (
	missingShare    = .2  // of what its pixel's other dies foretell: a die below is missing
	soundShare      = .45 // which it must be below by missingSigmas of noise
	missingSigmas   = 3
	presentShare    = .4  // of its neighbours' light: another die of that pixel is above
	missingFit      = .55 // of a light that is judged
	neighbours      = 6   // pixels to each side
	leastNeighbours = 3
)

// dies are the dies of a string, held against the same of their neighbours and against the
// others of their pixel. A light is measured twice: by all chips alike, where a bough that
// sways before it may hide just what one die gives, and mostly by those in which a die
// shines alone, where a camera may lose what is faint. A die is missing if both say so.
type dies [2][]measured // by pixel

// measured is what each slot of a light gives along its typical colour, and the standard
// error of that; nothing for a light that is not judged.
type measured struct{ level, noise []float64 }

func newDies(pixels []*camera.Light, typical [][3]float64, gain [3]float64) (d dies) {
	for m := range d {
		d[m] = make([]measured, len(pixels))
	}
	for k, l := range pixels {
		if l == nil || len(l.Response) != len(typical) || len(l.Alone) != len(typical) {
			continue
		}
		for s, t := range typical {
			square := max(t[0]*t[0]+t[1]*t[1]+t[2]*t[2], 1e-12)
			var level, noise [2]float64
			for ch := range 3 {
				weight := t[ch] / gain[ch] / square
				level[0] += l.Response[s][ch] * weight
				level[1] += l.Alone[s][ch] * weight
				noise[0] = math.Hypot(noise[0], l.Noise*weight)
				noise[1] = math.Hypot(noise[1], l.AloneNoise[s][ch]*weight)
			}
			for m := range d {
				d[m][k].level, d[m][k].noise = append(d[m][k].level, level[m]), append(d[m][k].noise, noise[m])
			}
		}
	}
	return d
}

// missing reports, for each slot of a pixel, whether its die does not light.
func (d dies) missing(k int) []bool {
	if d[0][k].level == nil {
		return nil
	}
	out := slices.Repeat([]bool{true}, len(d[0][k].level))
	for m := range d {
		share, noise := d.shares(m, k)
		top := slices.Max(share)
		if top <= presentShare {
			return nil
		}
		for s := range out {
			of := min(top, 1) // a pixel that is dimmer than its neighbours is so in all colours
			out[s] = out[s] && share[s] < missingShare*of && share[s]+missingSigmas*noise[s] < soundShare*of
		}
	}
	return out
}

// shares are what a pixel's slots give of what they give in the middle of its neighbours,
// and the standard error of that. Where too few neighbours tell, a slot has no error bound.
func (d dies) shares(m, k int) (share, noise []float64) {
	for s, level := range d[m][k].level {
		var near []float64
		for j := max(0, k-neighbours); j <= min(len(d[m])-1, k+neighbours); j++ {
			if j != k && d[m][j].level != nil {
				near = append(near, d[m][j].level[s])
			}
		}
		if len(near) < leastNeighbours {
			share, noise = append(share, 0), append(noise, math.Inf(1))
			continue
		}
		slices.Sort(near)
		middle := max(near[len(near)/2], 1e-9)
		share, noise = append(share, level/middle), append(noise, d[m][k].noise[s]/middle)
	}
	return share, noise
}
