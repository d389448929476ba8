package listener

import (
	"net/netip"
	"testing"
	"testing/synctest"
	"time"

	"yardproof/sacn"
)

// TestNewcomerIsSampledSoon: who announces a universe of ours is listened to at once,
// not a minute later; who was there before, or sends elsewhere, is not; and a crowd
// that always has somebody new has no more than a sample each five seconds.
func TestNewcomerIsSampledSoon(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		w := &Watch{cfg: WatchConfig{Universes: []uint16{1, 2}}, l: &Listener{querier: &querier{}, tracker: NewTracker(TrackerConfig{})}}
		says := func(after time.Duration, from string, c byte, universes ...uint16) {
			time.AfterFunc(after, func() {
				pages, err := sacn.DiscoveryPages(cid(c), mustName("show computer"), universes)
				if err != nil {
					t.Fatal(err)
				}
				w.l.mu.Lock()
				defer w.l.mu.Unlock()
				w.l.tracker.Packet(pages[0], Arrival{At: time.Now(), From: netip.MustParseAddr(from), Group: sacn.MulticastAddr4(sacn.DiscoveryUniverse)})
			})
		}
		rested := func(want time.Duration) {
			t.Helper()
			begun := time.Now()
			w.chooseNow()
			w.rest(t.Context(), begun)
			if got := time.Since(begun); got != want {
				t.Errorf("the next sample came after %v, want %v", got, want)
			}
		}
		rested(time.Minute)
		says(0, "10.77.0.2", 2, 3, 4)
		says(30*time.Second-time.Millisecond, "10.77.0.3", 3, 2, 3)
		rested(30 * time.Second)
		says(0, "10.77.0.3", 3, 2, 3)
		says(time.Second, "10.77.0.4", 3, 2, 3) // a second sender with that CID
		rested(newcomerGap)
		rested(time.Minute)
	})
}
