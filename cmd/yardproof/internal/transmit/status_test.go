package transmit

import (
	"errors"
	"slices"
	"strings"
	"testing"
	"time"

	"yardproof/cmd/yardproof/internal/record"
	"yardproof/cmd/yardproof/internal/state"
)

// The line for the service manager begins with what somebody must know: that nothing is
// recorded, and who holds the display.
func TestStatus(t *testing.T) {
	tr, _ := newTransmitter(t, 0, func() string { return "strings: [{name: a, universe: 1, pixels: 20}]\nnetwork: {slots: used}\n" })
	programme := &Programme{Says: func() string { return "2 of 48 hours" }}
	tr.record, _ = record.Refusing(t.TempDir(), nil)
	if got := tr.status(programme); !strings.HasPrefix(got, "dark on ") || !strings.HasSuffix(got, "; 2 of 48 hours") {
		t.Errorf("%q", got)
	}
	tr.record, _ = record.Refusing(t.TempDir(), errors.New("the disk is full"))
	tr.session.HoldDark("anna's phone", time.Now())
	if got := tr.status(nil); !strings.HasPrefix(got, "NOTHING IS RECORDED, see the log; held dark by anna's phone since ") {
		t.Errorf("%q", got)
	}
}

// A restart leads by enough for the frames between two saves, at any rate.
func TestSavesKeepUpWithTheRate(t *testing.T) {
	for _, rate := range []float64{1, 40, 100, 101, 250, 1000} {
		every := saveEvery(rate)
		if frames := rate * every.Seconds(); frames > state.FramesBetweenSaves+0.001 || every > time.Second || every < 50*time.Millisecond {
			t.Errorf("at %g Hz every %v: %.1f frames, at most %d", rate, every, frames, state.FramesBetweenSaves)
		}
	}
}

// Frames that go out excuse neither a page nor a programme that stands still.
func TestEveryPartIsWatched(t *testing.T) {
	tr, _ := newTransmitter(t, 0, func() string { return "strings: [{name: a, universe: 1, pixels: 20}]\nnetwork: {slots: used}\n" })
	still := func() uint64 { return 7 }
	w := tr.watch(still, &Programme{Moves: still})
	if got, want := w.Stuck(time.Now().Add(time.Minute)), []string{"the frame loop", "the page", "the programme"}; !slices.Equal(got, want) {
		t.Errorf("%q stand still, want %q", got, want)
	}
}
