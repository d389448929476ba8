// Package film holds a film of the yard against its plan: frames in as they come, a
// verdict on each string and each pixel out. Lights and addresses are read by
// patterns/camera. It refuses to know where frames come from, who asks, and what
// becomes of the verdicts; it keeps no film.
package film

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"slices"
	"time"

	"yardproof/cmd/yardproof/internal/textout"
	"yardproof/config"
	"yardproof/patterns"
	"yardproof/patterns/camera"
)

// Bounds of what a Reader holds.
const (
	MaxBytes = 128 << 20             // of all frames, as JPEG
	closest  = 45 * time.Millisecond // of two frames: more than 22 a second tell nothing more
)

// Errors of a film that a Reader cannot take; [camera] has more.
var (
	ErrBytes  = fmt.Errorf("the frames take more than %d MB: send 10 to 15 a second, at most 1920 by 1080", MaxBytes>>20)
	ErrFrame  = errors.New("the frame is no whole JPEG picture")
	ErrYard   = errors.New("the plan is too large for one film")
	ErrNoPlan = errors.New("the plan has no pixels")
	ErrGrey   = errors.New("the film is black and white: film in colour, without night mode")
)

// Reader collects the frames of one film and reads it. It is used by one goroutine.
type Reader struct {
	Cores int // that read; 0: all

	yard   *yard
	frames [][]byte
	times  []time.Duration
	size   image.Point
	bytes  int
}

// New returns a reader for a film of a plan's strings. Layout may be nil.
func New(plan *config.Plan, layout Layout) (*Reader, error) {
	y, err := newYard(plan, layout)
	if err != nil {
		return nil, err
	}
	return &Reader{yard: y}, nil
}

// Add takes one frame, as JPEG, with the time at which it is shown, since the film
// began. It keeps the bytes. Frames that follow too closely are left out.
func (r *Reader) Add(at time.Duration, frame []byte) error {
	head, err := jpeg.DecodeConfig(bytes.NewReader(frame))
	size := image.Pt(head.Width, head.Height)
	last := len(r.times) - 1
	switch {
	case err != nil:
		return fmt.Errorf("%w: %w", ErrFrame, err)
	case size.X*size.Y > camera.MaxPixels:
		return camera.ErrLarge
	case last >= 0 && size != r.size:
		return camera.ErrSizes
	case last >= 0 && at <= r.times[last]:
		return camera.ErrTimes
	case last >= 0 && at-r.times[last] < closest:
		return nil
	case last >= 0 && at-r.times[0] > camera.Longest:
		return camera.ErrLong
	case r.bytes+len(frame) > MaxBytes:
		return ErrBytes
	}
	r.size = size
	r.bytes += len(frame)
	r.times, r.frames = append(r.times, at), append(r.frames, frame)
	return nil
}

// Frames is how many frames are kept.
func (r *Reader) Frames() int { return len(r.frames) }

// Read reads the film. Progress, if not nil, is told of steps done; it must not wait.
// The error of a film with nothing to read says what to do.
func (r *Reader) Read(ctx context.Context, progress func(done, of int)) (*Result, error) {
	got, err := camera.Read(ctx, camera.Film{Times: r.times, Frame: r.frame, Cores: r.Cores, Progress: progress}, r.yard.sent)
	if err != nil {
		return nil, err
	}
	if grey(got.Lights) {
		return nil, ErrGrey
	}
	res := r.yard.judge(got)
	res.Films = []Film{{Seconds: (r.times[len(r.times)-1] - r.times[0]).Seconds(), Frames: len(r.times),
		Width: r.size.X, Height: r.size.Y, Read: len(got.Lights)}}
	res.stills = []still{{r.frames[got.Base], r.size}}
	return res, nil
}

// grey reports whether hardly a light has a slot that gives a colour: one of the camera's
// three is half of another at most.
func grey(lights []camera.Light) bool {
	coloured := 0
	for _, l := range lights {
		if slices.ContainsFunc(l.Response, func(r [3]float64) bool { return min(r[0], r[1], r[2]) < .5*max(r[0], r[1], r[2]) }) {
			coloured++
		}
	}
	return coloured*5 < len(lights)
}

// frame decodes a frame into what the camera takes.
func (r *Reader) frame(i int) (*image.YCbCr, error) {
	m, err := jpeg.Decode(bytes.NewReader(r.frames[i]))
	if err != nil {
		return nil, fmt.Errorf("%w: %w", ErrFrame, err)
	}
	switch m := m.(type) {
	case *image.YCbCr:
		return m, nil
	case *image.Gray:
		return nil, ErrGrey
	default:
		return inYCbCr(m), nil
	}
}

func inYCbCr(m image.Image) *image.YCbCr {
	b := m.Bounds()
	out := image.NewYCbCr(b, image.YCbCrSubsampleRatio444)
	for y := b.Min.Y; y < b.Max.Y; y++ {
		for x := b.Min.X; x < b.Max.X; x++ {
			c := color.YCbCrModel.Convert(m.At(x, y)).(color.YCbCr)
			at := out.YOffset(x, y)
			out.Y[at], out.Cb[at], out.Cr[at] = c.Y, c.Cb, c.Cr
		}
	}
	return out
}

// yard is a plan as a film sees it.
type yard struct {
	plan    *config.Plan
	layout  Layout
	sent    camera.Sent
	strings []planned
	owner   map[int]owner // by address of a pixel's first slot
	slot    []int32       // by address: the string that has it, -1: none
}

// planned is a string of the plan.
type planned struct {
	*config.String
	first []int // address of each pixel's first slot
	slots int
}

type owner struct{ str, pixel int } // indices

func newYard(plan *config.Plan, layout Layout) (*yard, error) {
	m := plan.Map()
	y := &yard{plan: plan, layout: layout, owner: map[int]owner{}}
	if most := patterns.CodeAddresses / patterns.CodeUniverse; len(m.Universes) > most {
		return nil, fmt.Errorf("%w: it has %s, and the pattern code tells %d apart; film in parts, with --only-controllers here and where it is sent",
			ErrYard, textout.Count(len(m.Universes), "universe"), most)
	}
	y.slot = make([]int32, len(m.Universes)*patterns.CodeUniverse)
	for i := range y.slot {
		y.slot[i] = -1
	}
	for i, s := range plan.Strings {
		p := planned{String: s, slots: s.ChannelsPerPixel()}
		for _, c := range m.Strings[i].Copies {
			for k := range c.Length {
				y.slot[c.Universe*patterns.CodeUniverse+c.At+k] = int32(i)
			}
			for k := (p.slots - c.From%p.slots) % p.slots; k < c.Length; k += p.slots {
				p.first = append(p.first, c.Universe*patterns.CodeUniverse+c.At+k)
			}
		}
		for k, a := range p.first {
			y.owner[a] = owner{i, k}
		}
		y.strings = append(y.strings, p)
	}
	for i, u := range m.Universes {
		slots := 3
		for k := range u.Channels {
			a := i*patterns.CodeUniverse + k
			if of := y.slot[a]; of >= 0 {
				slots = y.strings[of].slots // spare ones after it are taken as a string of its kind would have them
			}
			y.sent.Addresses, y.sent.Slots = append(y.sent.Addresses, a), append(y.sent.Slots, slots)
		}
	}
	if len(y.owner) == 0 {
		return nil, ErrNoPlan
	}
	return y, nil
}
