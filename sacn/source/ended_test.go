package source

import (
	"context"
	"maps"
	"syscall"
	"testing"
	"testing/synctest"
	"time"

	"yardproof/sacn"
)

// A stream whose last packets are refused has not told its end (6.2.6), whether it ends
// with the source or by a reload, and the counts say so.
func TestEndThatNobodyIsTold(t *testing.T) {
	all := []Stream{{Universe: 1, Slots: 8}, {Universe: 2, Slots: 8, Unicast: boathouse}, {Universe: 3, Slots: 8, Unicast: bandstand}}
	for name, tt := range map[string]struct {
		stays        []Stream // after a reload
		terminated   map[uint16]uint64
		present      map[uint16]bool
		unterminated uint64
	}{
		"the end":  {all, map[uint16]uint64{1: 3, 2: 0, 3: 3}, map[uint16]bool{1: true, 2: true, 3: true}, 1},
		"a reload": {all[:1], map[uint16]uint64{1: 3, 2: 0, 3: 3}, map[uint16]bool{1: true, 2: false, 3: false}, 1},
	} {
		t.Run(name, func(t *testing.T) {
			var src *Source
			inYard(t, testConfig(), Scene{Streams: all, Render: count}, func(y *yard, s *Source) {
				src = s
				time.Sleep(10*period + time.Millisecond)
				y.now(func() { y.refuse[boathouse] = syscall.EPERM })
				if err := s.Replace(Scene{Streams: tt.stays, Render: count}); err != nil {
					t.Error(err)
				}
				time.Sleep(20 * period)
			})
			terminated, present := map[uint16]uint64{}, map[uint16]bool{}
			for _, st := range src.Streams() {
				terminated[st.Universe], present[st.Universe] = st.Terminated, st.Present
			}
			if !maps.Equal(terminated, tt.terminated) || !maps.Equal(present, tt.present) {
				t.Errorf("terminated %v, want %v; present %v, want %v", terminated, tt.terminated, present, tt.present)
			}
			if n := src.Stats().Unterminated; n != tt.unterminated {
				t.Errorf("%d streams ended untold, want %d", n, tt.unterminated)
			}
		})
	}
}

// A patient source may be opened, counted and told to show something else while its
// interface is not there; it begins when that comes.
func TestPatientSource(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		y := newYard(t)
		y.link.state = LinkGone
		cfg := testConfig()
		cfg.Patient = true
		s, err := open(cfg, Scene{Streams: multicasts(1), Render: count}, y.link, y.environment())
		if err != nil {
			t.Fatal(err)
		}
		ctx, stop := context.WithCancel(t.Context())
		ended := make(chan error)
		go func() { ended <- s.Run(ctx) }()
		defer func() { stop(); <-ended }()
		time.Sleep(time.Minute)
		if st := s.Stats(); st.Packets != 0 || st.Link != LinkGone || y.dials != 0 {
			t.Errorf("%+v, %d sockets made", st, y.dials)
		}
		if err := s.Replace(Scene{Streams: multicasts(2), Render: count}); err != nil {
			t.Error(err)
		}
		select {
		case <-s.Started():
			t.Error("it says that frames go out")
		default:
		}
		y.setLink(func(l *linkState) { l.state = LinkUp })
		<-s.Started()
		time.Sleep(time.Second)
		if n := len(y.of(sacn.DataPacket, 2)); n < 38 {
			t.Errorf("%d packets in the first second", n)
		}
	})
}

// What is announced follows a reload, over the bounds of a page of 512 (clause 8) in both directions.
func TestDiscoveryFollowsReload(t *testing.T) {
	cfg := testConfig()
	cfg.Rate = 2
	y := inYard(t, cfg, Scene{Streams: multicasts(3), Render: count}, func(_ *yard, s *Source) {
		time.Sleep(5 * time.Second) // between two of them
		for _, universes := range []int{1100, 513, 2} {
			if err := s.Replace(Scene{Streams: multicasts(universes), Render: count}); err != nil {
				t.Fatal(err)
			}
			time.Sleep(sacn.DiscoveryInterval)
		}
	})
	at := map[time.Duration][]int{} // universes of each page
	for _, p := range y.of(sacn.DiscoveryPacket, 0) {
		var d sacn.Discovery
		if err := d.Decode(p.page); err != nil {
			t.Fatal(err)
		}
		if int(d.Page) != len(at[p.at]) {
			t.Errorf("page %d is the %dth", d.Page, len(at[p.at]))
		}
		at[p.at] = append(at[p.at], d.Universes.Len())
		if last := d.Universes.At(d.Universes.Len() - 1); d.Page == d.LastPage && int(last) != int(d.Page)*512+d.Universes.Len() {
			t.Errorf("the last universe of all is %d", last)
		}
	}
	for i, want := range [][]int{{3}, {512, 512, 76}, {512, 1}, {2}} {
		got := at[500*time.Millisecond+time.Duration(i)*sacn.DiscoveryInterval]
		if len(got) != len(want) || got[0] != want[0] || got[len(got)-1] != want[len(want)-1] {
			t.Errorf("after %d reloads: pages of %v, want %v", i, got, want)
		}
	}
}
