package burnin

import (
	"testing"
	"time"

	"yardproof/cmd/yardproof/internal/record"
)

// While a disk hangs, whoever asks how the burn-in stands is answered, and its ticks tell
// that it stands still.
func TestHungDisk(t *testing.T) {
	y := newYard(t, shortProgramme)
	writing, free := make(chan struct{}), make(chan struct{})
	y.start(func(c *Config) {
		c.Record = func(l record.Line) (record.Line, error) {
			close(writing)
			<-free
			return l, nil
		}
	})
	looked := make(chan error, 1)
	go func() { looked <- y.b.Looked("all well") }()
	<-writing
	before := y.b.Ticks()
	told := make(chan Report)
	go func() { told <- y.b.Report() }()
	select {
	case r := <-told:
		if r.Target == 0 || len(r.Chosen) == 0 {
			t.Errorf("it says %+v", r)
		}
	case <-time.After(10 * time.Second):
		t.Error("whoever asks waits for the disk")
	}
	time.Sleep(2500 * time.Millisecond)
	if after := y.b.Ticks(); after != before {
		t.Errorf("it ticks %d times while it stands still", after-before)
	}
	close(free)
	if err := <-looked; err != nil {
		t.Error(err)
	}
	y.end()
	if r := y.b.Report(); r.Looks != 1 {
		t.Errorf("%d looks are counted", r.Looks)
	}
}
