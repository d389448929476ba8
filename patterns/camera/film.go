// Package camera reads a film of a yard that shows the pattern code: which light
// answers which address, with which colours, and where it is in the picture. It is
// the inverse of that pattern, and takes frames with the times at which they were
// shown. It refuses to know about files, plans, sockets and who asks.
//
// A light that is not read is not seen, never dead: a branch before it looks the same.
package camera

import (
	"context"
	"errors"
	"fmt"
	"image"
	"runtime"
	"sync"
	"sync/atomic"
	"time"

	"yardproof/patterns"
)

// Film is what a phone saw.
type Film struct {
	Times []time.Duration // when each frame was shown, ascending

	// Frame returns frame i. It is called from several goroutines, and again for what
	// does not fit into the memory that frames may take.
	Frame func(i int) (*image.YCbCr, error)

	// Cores is how many of them read; 0: all.
	Cores int

	// Progress, if it is not nil, is told after each frame how many of all steps are
	// done, two a frame. Calls do not overlap.
	Progress func(done, of int)
}

// Bounds of a film.
const (
	Shortest  = patterns.CodeLoop + 1500*time.Millisecond // every chip once, wherever it begins
	Longest   = 90 * time.Second
	MinRate   = 8.0         // frames a second: fewer leave no clean frame of the dark preamble
	MaxFrames = 2000        // of all sizes
	MaxPixels = 2560 * 1440 // of a frame

	roomOfFrames = 64 << 20 // octets of frames that need not be decoded again
)

// Errors of a film that cannot be read. Each says what to do.
var (
	ErrShort = fmt.Errorf("the film is too short: film for 20 seconds, at least %.0f", (Shortest + 500*time.Millisecond).Seconds())
	ErrLong  = fmt.Errorf("the film is too long: at most %.0f seconds are read; film for 20", Longest.Seconds())
	ErrRate  = errors.New("the film has too few frames: at least 8 a second are needed; turn off time lapse")
	ErrTimes = errors.New("the times of the frames do not ascend: each frame needs the time at which it was shown")
	ErrLarge = errors.New("the frames are too large: scale them down to 1920 by 1080")
	ErrSizes = errors.New("the frames differ in size: hold the phone one way up, and do not zoom")
	ErrEmpty = errors.New("no blinking lights are in the film: show the pattern code first, then film the yard in the dark with the phone leaning on something")
	ErrClock = errors.New("lights are in the film, but none blinks an address: show the pattern code while you film, without slow motion and night mode; where the picture is grainy, show it brighter, or go nearer")
	ErrShaky = errors.New("the film is too shaky: lean the phone on something, and do not walk while you film")
)

func (f Film) check() error {
	n := len(f.Times)
	for i := 1; i < n; i++ {
		if f.Times[i] <= f.Times[i-1] {
			return ErrTimes
		}
	}
	if n < 2 || f.Times[n-1]-f.Times[0] < Shortest {
		return ErrShort
	}
	length := f.Times[n-1] - f.Times[0]
	switch {
	case length > Longest || n > MaxFrames:
		return ErrLong
	case float64(n-1)/length.Seconds() < MinRate:
		return ErrRate
	}
	return nil
}

func (f Film) cores() int {
	if all := runtime.GOMAXPROCS(0); f.Cores <= 0 || f.Cores > all {
		return all
	}
	return f.Cores
}

// keeping returns the film that is looked at twice: as many frames as there is room for
// are kept from the first time until the second.
func (f Film) keeping(room int64) Film {
	frame, kept := f.Frame, make([]*image.YCbCr, len(f.Times))
	var left atomic.Int64
	left.Store(room)
	f.Frame = func(i int) (*image.YCbCr, error) {
		if m := kept[i]; m != nil {
			kept[i] = nil
			return m, nil
		}
		m, err := frame(i)
		if err == nil && left.Add(-int64(len(m.Y)+len(m.Cb)+len(m.Cr))) >= 0 {
			kept[i] = m
		}
		return m, err
	}
	return f
}

// each calls do for every frame, on all cores, in no order. The first error ends it.
// It is pass 0 or 1 of two.
func (f Film) each(ctx context.Context, pass int, do func(i int, m *image.YCbCr) error) error {
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	next := make(chan int)
	var workers sync.WaitGroup
	var told sync.Mutex
	done := pass * len(f.Times)
	for range f.cores() {
		workers.Go(func() {
			for i := range next {
				m, err := f.Frame(i)
				switch {
				case err != nil:
					err = fmt.Errorf("frame %d: %w", i+1, err)
				case m.Rect.Dx()*m.Rect.Dy() > MaxPixels:
					err = ErrLarge
				default:
					err = do(i, m)
				}
				if err != nil {
					cancel(err)
				}
				told.Lock()
				if done++; f.Progress != nil {
					f.Progress(done, 2*len(f.Times))
				}
				told.Unlock()
			}
		})
	}
	for i := 0; i < len(f.Times) && ctx.Err() == nil; i++ {
		next <- i
	}
	close(next)
	workers.Wait()
	return context.Cause(ctx)
}
