package surroundings

import (
	"bytes"
	"context"
	"errors"
	"log/slog"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"yardproof/sacn/listener"
)

type runs func(context.Context) error

func (r runs) Run(ctx context.Context) error { return r(ctx) }

// What is not possible for days is logged once, and again when it was possible
// in between; and it leaves nothing behind.
func TestSuperviseComplainsOnce(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var said bytes.Buffer
		s := &Surroundings{cfg: Config{Log: slog.New(slog.NewTextHandler(&said, nil))}}
		tries := 0
		ctx, end := context.WithTimeout(t.Context(), time.Hour)
		defer end()
		err := s.supervise("the echo", func() (runner, error) {
			if tries++; tries == 100 {
				return runs(func(context.Context) error { return errors.New("not allowed") }), nil
			}
			return nil, errors.New("not allowed")
		}).Run(ctx)
		if n := strings.Count(said.String(), "does not work now"); err != nil || tries < 300 || n != 2 {
			t.Errorf("%v; %d lines after %d tries: %s", err, n, tries, &said)
		}
		if len(s.again) > 1 {
			t.Errorf("%d contexts are held", len(s.again))
		}
	})
}

// A new plan makes what waits for nothing begin again.
func TestSuperviseBeginsAgain(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := &Surroundings{cfg: Config{Log: slog.New(slog.DiscardHandler)}}
		opened := 0
		ctx, end := context.WithCancel(t.Context())
		var task sync.WaitGroup
		task.Go(func() {
			s.supervise("the echo", func() (runner, error) { opened++; return nil, nil }).Run(ctx)
		})
		for want := 1; want < 4; want++ {
			synctest.Wait()
			if opened != want {
				t.Errorf("opened %d times, want %d", opened, want)
			}
			s.PlanChanged()
		}
		end()
		task.Wait()
	})
}

// However many others there are, a few lines tell of the worst of them.
func TestManyOthersAreCounted(t *testing.T) {
	var groups [][]listener.CompetingSource
	for i := range 30 {
		groups = append(groups, []listener.CompetingSource{{Universe: uint16(i + 1), Precedence: listener.Ours}})
	}
	groups[20][0].Precedence = listener.Theirs
	groups[29][0].SameCID = true
	lines, sameCID := told(groups)
	if len(lines) != mostTold+1 || !sameCID || !strings.Contains(lines[0], "own CID") || !strings.Contains(lines[1], "universe 21, ") || !strings.HasPrefix(lines[mostTold], "20 more sources send") {
		t.Errorf("%v %q", sameCID, lines)
	}
}
