package burnin

import (
	"cmp"
	"errors"
	"fmt"
	"time"

	"yardproof/cmd/yardproof/internal/record"
)

const (
	keepEvery    = time.Second      // to take up what a shell leaves
	retryEvery   = 10 * time.Second // what a disk did not take
	slowDisk     = 3 * time.Second  // a write that takes longer is told
	endPatience  = 5 * time.Second  // at the end, with a disk that does not answer
	maxOwedAtOne = 64               // lines, before the progress is kept in between
)

// disk is how far the disk follows what has come about. It belongs to [BurnIn.mu].
type disk struct {
	wanted, kept uint64    // states that were to be kept, counted; the last one that is
	keptAt       time.Time // what it tells of
	busy         time.Time // since when something is being written; zero: nothing is
	unkept       error     // why the progress could not be written
	unrecorded   error     // why what is owed to the record is not there
}

// says tells why the disk does not have what it should.
func (d *disk) says(now time.Time) string {
	switch waits := now.Sub(d.busy); {
	case d.unkept != nil:
		return d.unkept.Error()
	case d.unrecorded != nil:
		return d.unrecorded.Error()
	case !d.busy.IsZero() && waits >= slowDisk:
		return fmt.Sprintf("the disk has not answered for %s", short(waits))
	}
	return ""
}

// A keeper brings to disk what a burn-in has come to, in a goroutine of its own: a
// disk that stalls stalls the keeper, and neither the programme nor whoever asks. What
// waits is one state, the latest, in which all that went before is counted.
type keeper struct {
	b     *BurnIn
	wake  chan struct{}
	news  chan struct{} // it has done something
	stop  chan struct{}
	ended chan struct{} // after stop, all is on disk or cannot be brought there
	told  string        // the problem that was logged last
}

func newKeeper(b *BurnIn) *keeper {
	return &keeper{b: b, wake: make(chan struct{}, 1), news: make(chan struct{}, 1), stop: make(chan struct{}), ended: make(chan struct{})}
}

func (k *keeper) poke() { poke(k.wake) }

func poke(ch chan<- struct{}) {
	select {
	case ch <- struct{}{}:
	default: // that is known already
	}
}

func (k *keeper) run() {
	defer close(k.ended)
	tick := time.NewTicker(keepEvery)
	defer tick.Stop()
	var failed time.Time
	for last := false; ; {
		if failed.IsZero() || last || time.Since(failed) >= retryEvery {
			failed = time.Time{}
			if err := errors.Join(k.b.collectInspections(), k.write(), k.settle()); err != nil {
				failed = time.Now()
				k.tell(err)
			} else {
				k.tell(nil)
			}
			poke(k.news)
		}
		if last {
			return
		}
		select {
		case <-k.stop:
			last = true
		case <-k.wake:
		case <-tick.C:
		}
	}
}

// tell logs a problem once, and its end.
func (k *keeper) tell(err error) {
	switch {
	case err != nil && k.told != err.Error():
		k.told = err.Error()
		k.b.cfg.Log.Error("not on disk; it is tried again, and a restart meanwhile would lose it", "error", err)
	case err == nil && k.told != "":
		k.told = ""
		k.b.cfg.Log.Info("all is on disk again")
	}
}

// write brings the progress to disk, if there is anything new.
func (k *keeper) write() error {
	b := k.b
	b.mu.Lock()
	p, state, at := b.progress.clone(), b.disk.wanted, b.saved
	if state == b.disk.kept {
		b.mu.Unlock()
		return nil
	}
	b.disk.busy = time.Now()
	b.mu.Unlock()
	err := b.cfg.write(p)
	b.mu.Lock()
	defer b.mu.Unlock()
	b.disk.busy, b.disk.unkept = time.Time{}, err
	if err == nil {
		b.disk.kept, b.disk.keptAt = state, at
	}
	b.publish()
	return err
}

// settle puts on record what is owed to it.
func (k *keeper) settle() error {
	b := k.b
	for {
		b.mu.Lock()
		var some []record.Line
		some = append(some, b.progress.Owed[:min(len(b.progress.Owed), maxOwedAtOne)]...)
		if len(some) > 0 {
			b.disk.busy = time.Now()
		}
		b.mu.Unlock()
		if len(some) == 0 {
			return nil
		}
		done := 0
		var err error
		for _, line := range some {
			if _, err = b.cfg.Record(line); errors.Is(err, record.ErrLine) {
				b.cfg.Log.Error("the end of the burn-in is not on record", "string", line.String, "error", err)
			} else if err != nil && !errors.Is(err, record.ErrAgain) {
				err = fmt.Errorf("the end of the burn-in is not on record: %w", err)
				break
			}
			done++
			err = nil
		}
		b.mu.Lock()
		b.progress.Owed = b.progress.Owed[done:]
		b.disk.busy, b.disk.unrecorded = time.Time{}, err
		b.disk.wanted++
		b.publish()
		b.mu.Unlock()
		if err = errors.Join(err, k.write()); err != nil {
			return err
		}
	}
}

// settled reports whether all that has come about is on disk.
func (b *BurnIn) settled() bool {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.disk.kept == b.disk.wanted && len(b.progress.Owed) == 0
}

// end brings to disk what is left, and gives up after a time: a disk that does not
// answer must not hold up the end.
func (k *keeper) end() error {
	close(k.stop)
	select {
	case <-k.ended:
	case <-time.After(endPatience):
	}
	if k.b.settled() {
		return nil
	}
	k.b.mu.Lock()
	defer k.b.mu.Unlock()
	d := k.b.disk
	why := cmp.Or(d.unkept, d.unrecorded, errors.New("the disk does not answer"))
	return fmt.Errorf("what was served since %s is not on disk: %w", d.keptAt.Local().Format("15:04:05"), why)
}
