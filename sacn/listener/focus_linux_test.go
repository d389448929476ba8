package listener

import (
	"context"
	"net/netip"
	"slices"
	"testing"
	"testing/synctest"
	"time"

	"yardproof/sacn"
	"yardproof/sacn/sacntest"
)

// A universe that somebody looks at is joined until another source on it is known, and
// until that is gone; no other universe is. A sample would come a minute later, and here
// none is taken at all.
func TestWatchFocus(t *testing.T) {
	p := sacntest.NewPair(t)
	var w *Watch
	var err error
	inside(t, p.Far, func() {
		w, err = OpenWatch(WatchConfig{Interface: sacntest.Interface, Universes: []uint16{7, 8, 9}, Own: cid(1), Priority: 100})
	})
	if err != nil {
		t.Fatal(err)
	}
	w.l.tracker.cfg.Local = func(netip.Addr) bool { return false }
	run(t, w.l.Run)
	ctx, stop := context.WithCancel(t.Context())
	done := make(chan bool)
	defer func() { stop(); <-done }()
	go func() { defer close(done); inside(t, p.Far, func() { w.follow(ctx) }) }()

	theirs := newSender(t, p.Near, false)
	theirs.d.CID = cid(2)
	began := time.Now()
	eventually(t, "the other source on the universe in focus", func() bool {
		theirs.send(7, 8)
		w.Focus([]uint16{7, 12}) // 12 is not sent from here
		return slices.ContainsFunc(w.Competing(), func(c CompetingSource) bool { return c.Universe == 7 })
	})
	t.Logf("known after %v", time.Since(began).Round(10*time.Millisecond))
	if got := w.Competing(); len(got) != 1 || got[0].CID != cid(2) || got[0].Precedence != Tie {
		t.Errorf("competing are %+v", got)
	}
	if n := groups(t, p); n != 2 {
		t.Errorf("%d groups are joined, want those of discovery and of the universe in focus", n)
	}
	eventually(t, "its end", func() bool {
		w.Focus([]uint16{7})
		return len(w.Competing()) == 0
	})
}

// However a second source and a look at its universe fall together, it is known within
// 1.5 s of both, by the clock of the loop itself. The source is the slowest steady one,
// of a packet a second, and none is heard before the group is joined.
func TestFocusIsQuick(t *testing.T) {
	for begins := 0 * time.Millisecond; begins < time.Second; begins += 90 * time.Millisecond {
		synctest.Test(t, func(t *testing.T) {
			w, err := OpenWatch(WatchConfig{Interface: "lo", Universes: []uint16{7}, Own: cid(1), Priority: 100})
			if err != nil {
				t.Fatal(err)
			}
			defer w.l.sock.close()
			w.l.tracker.cfg.Local = func(netip.Addr) bool { return false }
			ctx, stop := context.WithCancel(t.Context())
			done := make(chan bool)
			go func() { defer close(done); w.follow(ctx) }()
			defer func() { stop(); <-done }()

			began, quick := time.Now(), 0*time.Millisecond
			const joined = focusEvery // the first look of the loop joins
			d := sacn.Data{CID: cid(2), Name: mustName("show computer"), Priority: 100, Universe: 7, Slots: make([]byte, 3)}
			for at := time.Duration(0); at < 4*time.Second && quick == 0; at += 10 * time.Millisecond {
				time.Sleep(10 * time.Millisecond)
				synctest.Wait()
				if at%(250*time.Millisecond) == 0 {
					w.Focus([]uint16{7}) // as an open page does
				}
				if at > joined && at%time.Second == begins {
					b, err := d.AppendTo(nil)
					if err != nil {
						t.Fatal(err)
					}
					d.Sequence++
					w.l.tracker.Packet(b, Arrival{At: time.Now(), From: netip.MustParseAddr("10.77.0.1"), Group: sacn.MulticastAddr4(7)})
				}
				if len(w.Competing()) > 0 {
					quick = time.Since(began)
				}
			}
			if quick == 0 || quick > 1500*time.Millisecond {
				t.Errorf("a source %v off the second is known after %v", begins, quick)
			}
		})
	}
}

// Of many universes in view those asked for last are followed.
func TestFocusIsBounded(t *testing.T) {
	w := &Watch{focus: map[uint16]time.Time{}}
	for u := range uint16(100) {
		w.cfg.Universes = append(w.cfg.Universes, u+1)
	}
	w.Focus(w.cfg.Universes)
	now := time.Now()
	for u := range w.focus {
		w.focus[u] = now.Add(time.Duration(u) * time.Millisecond)
	}
	if got := w.focused(now); len(got) != focusUniverses || got[0] != 85 || got[15] != 100 {
		t.Errorf("followed are %v", got)
	}
	if got := w.focused(now.Add(time.Second)); len(got) != 0 {
		t.Errorf("a second after the last was to be let go, %v are followed", got)
	}
}
