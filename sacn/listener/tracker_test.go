package listener

import (
	"fmt"
	"math/rand/v2"
	"net/netip"
	"runtime"
	"slices"
	"testing"
	"time"

	"yardproof/sacn"
)

var epoch = time.Date(2026, 12, 1, 17, 0, 0, 0, time.UTC)

func at(ms float64) time.Time { return epoch.Add(time.Duration(ms * float64(time.Millisecond))) }

func mustName(s string) sacn.Name {
	n, err := sacn.NewName(s)
	if err != nil {
		panic(err)
	}
	return n
}

func cid(n byte) sacn.CID { return sacn.CID{15: n} }

// upTo are the universes from 1 to n.
func upTo(n int) []uint16 {
	list := make([]uint16, n)
	for i := range list {
		list[i] = uint16(i + 1)
	}
	return list
}

// feed is a tracker and a source that sends to it.
type feed struct {
	*Tracker
	d sacn.Data
}

func newFeed(cfg TrackerConfig) *feed {
	return &feed{Tracker: NewTracker(cfg), d: sacn.Data{CID: cid(1), Name: mustName("quay laptop"), Priority: 100, Universe: 7, Slots: make([]byte, 3)}}
}

func (f *feed) send(t testing.TB, ms float64, sequence uint8) {
	t.Helper()
	f.from(t, ms, "10.77.0.1", sequence)
}

func (f *feed) stream(t testing.TB, ms float64) Stream {
	t.Helper()
	s := f.Snapshot(at(ms))
	if len(s.Sources) != 1 || len(s.Sources[0].Streams) != 1 {
		t.Fatalf("want one stream, have %+v", s.Sources)
	}
	return s.Sources[0].Streams[0]
}

func TestTrackerFilters(t *testing.T) {
	set := new(UniverseSet)
	set.Add(7)
	set.Add(8)
	f := newFeed(TrackerConfig{Universes: set, Except: cid(9)})
	f.send(t, 0, 0)
	var b []byte
	for i, group := range []netip.Addr{sacn.MulticastAddr4(8), netip.MustParseAddr("224.0.0.1"), sacn.MulticastAddr6(8), sacn.MulticastAddr4(9)} {
		f.d.Sequence = uint8(1 + i)
		b, _ = f.d.AppendTo(nil)
		f.Packet(b, Arrival{At: at(1), From: netip.MustParseAddr("10.77.0.1"), Group: group})
	}
	f.d.Universe = 9
	f.send(t, 2, 0)
	f.d.Universe, f.d.CID = 7, cid(9)
	f.send(t, 3, 0)
	f.Packet(b, Arrival{At: at(4), Truncated: true})
	f.Packet(b[:50], Arrival{At: at(4)})
	f.Packet(nil, Arrival{At: at(4)})
	s := f.Snapshot(at(10))
	if s.Malformed[ReasonGroup] != 4 || s.NotJoined != 1 || s.Malformed["length"] != 1 || s.Malformed["short"] != 2 || s.MalformedTotal() != 7 || len(s.Sources) != 1 {
		t.Errorf("%+v", s)
	}
	// They are counted, and under the universe that they carry (6.2.7).
	if st := f.stream(t, 10); st.Universe != 7 || st.Packets != 5 || st.Lost != 0 {
		t.Errorf("%+v", st)
	}
}

func TestConflicts(t *testing.T) {
	for _, c := range []struct {
		second  uint8
		preview bool
		winner  sacn.CID
		tie     bool
		none    bool
	}{
		{second: 150, winner: cid(2)},
		{second: 100, tie: true},
		{second: 50, winner: cid(1)},
		{second: 200, preview: true, none: true},
	} {
		t.Run(fmt.Sprintf("%d", c.second), func(t *testing.T) {
			f := newFeed(TrackerConfig{})
			f.send(t, 0, 0)
			f.d.CID, f.d.Priority, f.d.Name = cid(2), c.second, mustName("show computer")
			if c.preview {
				f.d.Options = sacn.Preview
			}
			f.send(t, 10, 0)
			got := f.Snapshot(at(20)).Conflicts
			if c.none {
				if len(got) != 0 {
					t.Fatalf("a preview source competes: %+v", got)
				}
				return
			}
			if len(got) != 1 || got[0].Winner != c.winner || got[0].Tie != c.tie || !got[0].Active() || len(got[0].Sources) != 2 || got[0].Universe != 7 {
				t.Fatalf("%+v", got)
			}
			f.d.CID, f.d.Priority = cid(1), 100
			f.send(t, 2600, 1)
			if got = f.Snapshot(at(2700)).Conflicts; len(got) != 1 || got[0].Active() || got[0].Winner != c.winner {
				t.Errorf("when it is over: %+v", got)
			}
			f.d.CID, f.d.Priority = cid(2), 99
			f.send(t, 2700, 1)
			if got = f.Snapshot(at(2700)).Conflicts; !got[0].Active() || got[0].Winner != cid(1) || got[0].Tie {
				t.Errorf("begun again, lower: %+v", got)
			}
			f.d.Priority = 101
			f.send(t, 2725, 2)
			if got = f.Snapshot(at(2700)).Conflicts; got[0].Winner != cid(2) {
				t.Errorf("raised while live: %+v", got)
			}
		})
	}
}

func TestDiscoveryPages(t *testing.T) {
	universes := make([]uint16, 1200)
	for i := range universes {
		universes[i] = uint16(2*i + 1)
	}
	pages, err := sacn.DiscoveryPages(cid(3), mustName("quay\x1b[2J laptop"), universes)
	if err != nil {
		t.Fatal(err)
	}
	tr := NewTracker(TrackerConfig{})
	announced := func() []uint16 {
		s := tr.Snapshot(at(0))
		if len(s.Sources) == 0 || !s.Sources[0].Announces {
			return nil
		}
		return s.Sources[0].Announced.List()
	}
	send := func(ms float64, page int) {
		tr.Packet(pages[page], Arrival{At: at(ms), Group: sacn.MulticastAddr4(sacn.DiscoveryUniverse)})
	}
	send(0, 2)
	send(1, 0)
	if announced() != nil {
		t.Error("a list with a page missing is shown")
	}
	send(2, 1)
	if !slices.Equal(announced(), universes) {
		t.Errorf("%d universes", len(announced()))
	}
	send(10000, 0)
	send(10001, 2) // page 1 lost
	send(20002, 0)
	send(20003, 1)
	if len(announced()) != 1200 {
		t.Error("pages of two announcements were mixed, or the old list was given up")
	}
	universes = universes[:3]
	pages, _ = sacn.DiscoveryPages(cid(3), mustName("quay"), universes)
	send(30000, 0)
	if !slices.Equal(announced(), universes) {
		t.Errorf("after the list shrank: %v", announced())
	}
	if s := tr.Snapshot(at(0)); s.Sources[0].Name != "quay" {
		t.Errorf("name %q", s.Sources[0].Name)
	}
}

// Forged sources that announce every universe there is must not make a snapshot,
// which is taken each second, cost what a list of each would.
func TestAnnouncementsAreCheap(t *testing.T) {
	const sources = 100
	all := upTo(sacn.MaxUniverse)
	tr := NewTracker(TrackerConfig{})
	for n := range byte(sources) {
		pages, err := sacn.DiscoveryPages(cid(n+1), mustName("forged"), all)
		if err != nil {
			t.Fatal(err)
		}
		for _, page := range pages {
			tr.Packet(page, Arrival{At: at(0), Group: sacn.MulticastAddr4(sacn.DiscoveryUniverse)})
		}
	}
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	r := Report{Snapshot: tr.Snapshot(at(1))}
	got := announcers(&r, []uint16{1, 40})
	runtime.ReadMemStats(&after)
	if len(got) != sources || got[0].Universes != sacn.MaxUniverse || !slices.Equal(got[0].Shared, []uint16{1, 40}) {
		t.Errorf("%d announcers, %d universes, shared %v", len(got), got[0].Universes, got[0].Shared)
	}
	if each := (after.TotalAlloc - before.TotalAlloc) / sources; each > 16<<10 {
		t.Errorf("a snapshot allocates %d octets for each announcer", each)
	}
}

func TestSynchronised(t *testing.T) {
	f := newFeed(TrackerConfig{})
	f.d.SyncAddress = 500
	f.send(t, 0, 0)
	if s := f.stream(t, 1); s.Synced || s.SyncAddress != 500 {
		t.Errorf("%+v", s)
	}
	y := sacn.Sync{CID: cid(1), Address: 500}
	b, _ := y.AppendTo(nil)
	f.Packet(b, Arrival{At: at(2), Group: sacn.MulticastAddr4(500)})
	if s := f.stream(t, 3); !s.Synced {
		t.Errorf("%+v", s)
	}
	if s := f.stream(t, 2600); s.Synced {
		t.Errorf("2.6 s later: %+v", s)
	}
}

// A flood of forged CIDs must neither grow without bound nor disturb what is
// being measured.
func TestTrackerFlood(t *testing.T) {
	f := newFeed(TrackerConfig{MaxSources: 64})
	real, sequence := f.d, uint8(0)
	r := rand.New(rand.NewPCG(4, 4))
	for i := range 50000 {
		ms := float64(i) * 0.2
		if i%125 == 0 { // 40 Hz
			f.d = real
			f.send(t, ms, sequence)
			sequence++
		}
		f.d.Universe = uint16(1 + r.IntN(60000))
		for b := range f.d.CID {
			f.d.CID[b] = byte(r.Uint32())
		}
		f.send(t, ms, 0)
	}
	s := f.Snapshot(at(10000))
	if len(s.Sources) > 64 || f.streams > 64 || s.Evicted == 0 || s.Refused == 0 || s.Evicted+s.Refused+64 < 50000 {
		t.Errorf("%d sources, %d streams, %d evicted, %d refused", len(s.Sources), f.streams, s.Evicted, s.Refused)
	}
	for _, src := range s.Sources {
		if src.CID == cid(1) {
			if st := src.Streams[0]; st.Packets != 400 || st.Lost != 0 || st.Outages != 0 {
				t.Errorf("the real source: %+v", st)
			}
			return
		}
	}
	t.Error("the real source was evicted")
}

func TestTrackerStreamLimit(t *testing.T) {
	f := newFeed(TrackerConfig{MaxStreams: 10})
	for u := range uint16(20) {
		f.d.Universe = u + 1
		f.send(t, 0, 0)
	}
	if s := f.Snapshot(at(1)); len(s.Sources[0].Streams) != 10 || s.Refused != 10 {
		t.Errorf("%d streams, %d refused", len(s.Sources[0].Streams), s.Refused)
	}
	f.d.CID = cid(2)
	f.send(t, 3000, 0) // the first source is idle now
	if s := f.Snapshot(at(3000)); len(s.Sources) != 1 || s.Evicted != 1 || s.Sources[0].CID != cid(2) {
		t.Errorf("%+v", s)
	}
}

func TestAllocTracker(t *testing.T) {
	f := newFeed(TrackerConfig{})
	f.d.Slots = make([]byte, 512)
	var packets []sacn.Template
	for u := range uint16(100) {
		f.d.Universe = u + 1
		p, err := sacn.NewTemplate(&f.d)
		if err != nil {
			t.Fatal(err)
		}
		packets = append(packets, p)
	}
	bad := append([]byte(nil), packets[0]...)
	bad[40] = 9
	discovery, err := sacn.DiscoveryPages(cid(1), f.d.Name, []uint16{1, 2, 3})
	if err != nil {
		t.Fatal(err)
	}
	n, ms := uint8(0), 0.0
	round := func() {
		n += 1 + n%3 // with gaps
		ms += 25
		for i, p := range packets {
			p.SetSequence(n)
			f.Packet(p, Arrival{At: at(ms), From: netip.IPv4Unspecified(), Group: sacn.MulticastAddr4(uint16(i) + 1)})
		}
		f.Packet(bad, Arrival{At: at(ms)})
		f.Packet(discovery[0], Arrival{At: at(ms)})
	}
	round()
	round()
	if a := testing.AllocsPerRun(100, round); a != 0 {
		t.Errorf("%v allocations for 102 packets", a)
	}
}

func TestClean(t *testing.T) {
	for in, want := range map[string]string{
		"quay laptop":            "quay laptop",
		"Hafenstraße ☃":          "Hafenstraße ☃",
		"a\x1b[2Jb\r\n":          "a\ufffd[2Jb\ufffd\ufffd",
		"\xff\xfe":               "\ufffd\ufffd",
		"left\u202eright\u200b.": "left\ufffdright\ufffd.",
		"c1\u0085\u009b":         "c1\ufffd\ufffd",
	} {
		if got := Clean(in); got != want {
			t.Errorf("Clean(%q) = %q, want %q", in, got, want)
		}
	}
}

// Whatever comes: no panic, no figure that cannot be, bounded memory.
func FuzzTracker(f *testing.F) {
	d := sacn.Data{CID: cid(1), Priority: 100, Universe: 7, Slots: []byte{1, 2, 3}}
	data, _ := d.AppendTo(nil)
	y := sacn.Sync{CID: cid(1), Address: 7}
	sync, _ := y.AppendTo(nil)
	pages, _ := sacn.DiscoveryPages(cid(1), mustName("quay"), []uint16{1, 7, 63999})
	f.Add(data, sync, uint16(7), int64(25))
	f.Add(data, data, uint16(8), int64(-25))
	f.Add(pages[0], data[:125], uint16(sacn.DiscoveryUniverse), int64(1e10))
	f.Fuzz(func(t *testing.T, a, b []byte, group uint16, gap int64) {
		tr := NewTracker(TrackerConfig{MaxSources: 4, MaxStreams: 8})
		now := epoch
		for i := range 8 {
			p := a
			if i%3 == 2 {
				p = b
			}
			tr.Packet(p, Arrival{At: now, Group: sacn.MulticastAddr4(group), ClockStepped: i == 5})
			tr.Packet(p, Arrival{At: now})
			if len(a) > 111 {
				a = slices.Clone(a)
				a[111] += byte(i) // sequence
				a[22+i]++         // CID
			}
			now = now.Add(time.Duration(gap % 1e12))
			tr.LocalDrops(uint64(i % 2))
		}
		s := tr.Snapshot(now)
		if len(s.Sources) > 4 || tr.streams+len(tr.syncs) > 8 {
			t.Fatalf("%d sources, %d streams", len(s.Sources), tr.streams)
		}
		for _, src := range s.Sources {
			for _, st := range src.Streams {
				if p := st.LossPercent(); p < 0 || p > 100 || st.Packets == 0 || st.Lost > 1<<20 || st.Universe == 0 || st.Jitter < 0 {
					t.Fatalf("%+v", st)
				}
			}
		}
	})
}
