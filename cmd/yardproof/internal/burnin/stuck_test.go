package burnin

import (
	"errors"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"yardproof/cmd/yardproof/internal/record"
)

// A stallable disk takes nothing while it is held, and refuses while err is set.
type stallable struct {
	mu     sync.Mutex
	held   chan struct{} // nil: it answers
	err    error
	writes int
	last   Progress
}

func (d *stallable) hold() {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.held = make(chan struct{})
}

func (d *stallable) release() {
	d.mu.Lock()
	defer d.mu.Unlock()
	close(d.held)
	d.held = nil
}

func (d *stallable) fail(err error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.err = err
}

func (d *stallable) wait() error {
	d.mu.Lock()
	held := d.held
	d.mu.Unlock()
	if held != nil {
		<-held
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.err
}

func (d *stallable) write(p Progress) error {
	if err := d.wait(); err != nil {
		return err
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	d.writes++
	d.last = p
	return nil
}

func (d *stallable) onDisk() Progress {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.last
}

// startOn begins a burn-in on a disk.
func (y *yard) startOn(d *stallable, stay bool) {
	y.start(func(c *Config) {
		c.Stay = stay
		c.write = d.write
		keep := c.Record
		c.Record = func(l record.Line) (record.Line, error) {
			if err := d.wait(); err != nil {
				return l, err
			}
			return keep(l)
		}
	})
}

// While the disk hangs the programme goes through its steps, whoever asks is answered,
// dark is dark, a look waits alone, and it is said; afterwards nothing is missing.
func TestHungDisk(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		y, d := newYard(t, shortProgramme), &stallable{}
		y.startOn(d, true)
		defer y.end()
		pass(2 * time.Minute)
		d.hold()
		before, looked := y.b.Ticks(), make(chan error, 1)
		go func() { looked <- y.b.Looked("all well", "k1") }()
		pass(10 * time.Minute)
		if s := y.session.Snapshot().Shown.Pattern.Name; s != "full-white" {
			t.Errorf("12 minutes into the programme it shows %s", s)
		}
		r := y.b.Report()
		if ticks := y.b.Ticks() - before; ticks != 600 || r.State != Running || r.Least < 11*time.Minute+58*time.Second {
			t.Errorf("%d ticks in 600 s; %s, %v served", ticks, r.State, r.Least)
		}
		if !strings.Contains(r.Says(), "NOT ON DISK: the disk has not answered for 9m") || r.Looks != 0 || len(looked) != 0 {
			t.Errorf("it says %q; %d looks, %d answered", r.Says(), r.Looks, len(looked))
		}
		y.session.HoldDark("a phone", time.Now())
		pass(time.Second)
		if s := y.session.Snapshot().Shown.Pattern.Name; s != "dark" || y.b.Report().State != Held {
			t.Errorf("dark was asked for: it shows %s, %s", s, y.b.Report().State)
		}
		d.release()
		pass(time.Second)
		if err := <-looked; err != nil {
			t.Error(err)
		}
		if r := y.b.Report(); r.Unkept != "" || r.Looks != 1 || d.onDisk().Looks != 1 || d.onDisk().Frames < r.Frames-2*rate {
			t.Errorf("afterwards: %q, %d looks; on disk %d looks, %d of %d frames", r.Unkept, r.Looks, d.onDisk().Looks, d.onDisk().Frames, r.Frames)
		}
	})
}

// A burn-in that is over while the disk hangs, or takes nothing, stays and stays dark
// until that is on record, and is on record once.
func TestEndWaitsForTheDisk(t *testing.T) {
	for _, broken := range []bool{false, true} {
		synctest.Test(t, func(t *testing.T) {
			y, d := newYard(t, shortProgramme), &stallable{}
			y.startOn(d, false)
			pass(59 * time.Minute)
			if broken {
				d.fail(errors.New("no space left"))
			} else {
				d.hold()
			}
			pass(11 * time.Minute)
			r := y.b.Report()
			if r.State != Finished || y.session.Snapshot().Shown.Pattern.Name != "dark" || len(y.over) != 0 || len(y.lines) != 0 {
				t.Errorf("%s, shows %s, ended %d, %d lines on record", r.State, y.session.Snapshot().Shown.Pattern.Name, len(y.over), len(y.lines))
			}
			if !strings.Contains(r.Says(), "NOT ON DISK") || broken && !strings.Contains(r.Says(), "no space left") {
				t.Errorf("it says %q", r.Says())
			}
			if broken {
				d.fail(nil)
			} else {
				d.release()
			}
			pass(retryEvery + time.Second)
			if len(y.over) != 1 || len(y.lines) != 3 || len(y.done) != 1 {
				t.Errorf("ended %d, %d lines on record, told %d times", len(y.over), len(y.lines), len(y.done))
			}
			if p := d.onDisk(); p.Finished.IsZero() || len(p.Owed) != 0 {
				t.Errorf("on disk: finished %v, %d lines owed", p.Finished, len(p.Owed))
			}
			y.end()
		})
	}
}

// Whoever stops it meanwhile is not held up, and is told; the lines that are owed are
// recorded after the next start.
func TestStopWithoutADisk(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		y, d := newYard(t, shortProgramme), &stallable{}
		y.startOn(d, false)
		pass(10 * time.Minute)
		d.hold()
		pass(2 * time.Minute)
		y.stop()
		begun := time.Now()
		err := <-y.over
		if took := time.Since(begun); took > endPatience || err == nil || !strings.Contains(err.Error(), "is not on disk: the disk does not answer") {
			t.Errorf("after %v: %v", took, err)
		}
		d.release()
		synctest.Wait()
		y.dir.Close()
	})
	synctest.Test(t, func(t *testing.T) {
		y := newYard(t, shortProgramme)
		full := true
		y.start(func(c *Config) {
			keep := c.Record
			c.Record = func(l record.Line) (record.Line, error) {
				if full {
					return l, errors.New("no space left")
				}
				return keep(l)
			}
		})
		pass(61 * time.Minute)
		y.stop()
		if err := <-y.over; err == nil {
			t.Error("it ends well though nothing is on record")
		}
		y.dir.Close()
		full = false
		y.start(nil)
		pass(2 * time.Second)
		if len(y.lines) != 3 || y.lines[0].Once == "" || y.lines[0].Once == y.lines[1].Once || len(y.kept().Owed) != 0 {
			t.Errorf("after the next start: %+v", y.lines)
		}
		y.end()
	})
}
