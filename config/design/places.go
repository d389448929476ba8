package design

import (
	"math"
	"slices"
	"strconv"

	"yardproof/config"
)

// A place is where a feed can join a string.
type place struct {
	at      string // start, end or a pixel, as a plan has it
	address int
	node    int
	along   float64 // metres from the first pixel, by the wire
	metres  float64 // of the lead
	was     *config.Feed
}

// No lead is cut shorter, whatever the distance (common practice, no source).
const shortestLead = 0.5

// Two feeds of a string are not nearer to one another by the wire, since what breaks one
// lead, or the joint between them, takes both away, and nobody cuts in twice within a
// hand's reach (common practice, no source). Half of a short string is far enough.
const nearestFeeds = 0.5

// tooNear reports whether two places are too near for a feed at each. Those that have
// their feeds today may keep them.
func (p *problem) tooNear(a, b *place) bool {
	apart := min(nearestFeeds, along(p.s, p.s.Pixels)/2)
	return b.along-a.along < apart-1e-9 && (a.was == nil || b.was == nil)
}

// along is how far a lit pixel is from the first one, along the wire.
func along(s *config.String, pixel int) float64 {
	d := float64(pixel-1) * float64(max(s.Copies, 1)) * s.Pitch.Metres
	for _, j := range s.Jumpers {
		if j.After < pixel {
			d += j.Wire.Metres
		}
	}
	return d
}

// pixelOf is the lit pixel of an address of the data line, at least 1.
func pixelOf(s *config.String, address int) int { return max(address-s.NullPixels, 1) }

// A source is what leads come from: a supply, or a feeder's fuse block.
type source struct {
	supply *config.Supply
	feeder *config.Feeder
	beside *config.Supply // the supply is not there yet, and is to stand beside this one
}

func (s source) spot() config.Spot {
	if s.feeder != nil {
		return s.feeder.Spot
	}
	return s.supply.Spot // a new supply has that of the one beside
}

// feeds reports whether a feed hangs on this source.
func (s source) feeds(f *config.Feed) bool {
	if s.feeder != nil {
		return f.Feeder != nil && f.Feeder.Name == s.feeder.Name // itself, or with another wire
	}
	return f.Feeder == nil && f.Supply != nil && (f.Supply == s.supply || f.Supply == s.beside)
}

// metres is the length of a lead from a source to a lit pixel; false when the plan
// does not tell. A lead that the plan has is as long as it says, and one beside it may
// run along the string.
func (src source) metres(s *config.String, address int) (float64, bool) {
	pixel := pixelOf(s, address)
	best, known := math.Inf(1), false
	for _, f := range s.Feeds {
		if !src.feeds(f) || !f.Wire.Known() || f.Wire.Metres <= 0 {
			continue
		}
		if f.Address == address {
			return f.Wire.Metres, true
		}
		known = true
		best = min(best, f.Wire.Metres+math.Abs(along(s, pixel)-along(s, pixelOf(s, f.Address))))
	}
	if d, ok := s.Spot.Metres(src.spot()); ok {
		d += along(s, pixel)
		if len(s.EndSpot) > 0 && s.Pixels > 1 {
			d, _ = s.Spot.Toward(s.EndSpot, along(s, pixel)/max(along(s, s.Pixels), 1e-9)).Metres(src.spot())
		}
		best, known = min(best, d), true
	}
	if !known {
		return 0, false
	}
	return max(math.Ceil(best*10-1e-6)/10, shortestLead), true
}

// places are where a source's feeds can join: the ends, beside jumpers, where the plan
// says that one can cut in, where it has a feed now; any pixel when it does not say.
func places(p *problem, src source) ([]place, bool) {
	s := p.s
	pixels := []int{}
	for k := 2; k < s.Pixels && len(s.FeedPoints) == 0; k++ {
		pixels = append(pixels, k)
	}
	pixels = append(pixels, s.FeedPoints...)
	for _, j := range s.Jumpers {
		pixels = append(pixels, j.After, j.After+1)
	}
	for _, f := range s.Feeds {
		if f.At != "start" && f.At != "end" {
			pixels = append(pixels, pixelOf(s, f.Address))
		}
	}
	slices.Sort(pixels)
	list := []place{{at: "start", address: 1}}
	for _, k := range slices.Compact(pixels) {
		if k > 1 && k < s.Pixels {
			list = append(list, place{at: strconv.Itoa(k), address: s.NullPixels + k, node: p.wiring.Node(s.NullPixels + k)})
		}
	}
	if s.Pixels > 1 {
		last := s.NullPixels + s.Pixels
		list = append(list, place{at: "end", address: last, node: p.wiring.Node(last)})
	}
	for i := range list {
		a := &list[i]
		a.along = along(s, pixelOf(s, a.address))
		for _, f := range s.Feeds {
			if f.Address == a.address && (s.Marks.Has("feeds") || f.Wire.Known()) {
				a.was = f
			}
		}
		metres, ok := src.metres(s, a.address)
		if !ok {
			return nil, false
		}
		a.metres = metres
	}
	return list, true
}
