package listener

import (
	"net/netip"
	"testing"

	"yardproof/sacn"
)

// from sends the next packet of one of several senders.
func (f *feed) from(t testing.TB, ms float64, address string, sequence uint8) {
	t.Helper()
	f.d.Sequence = sequence
	b, err := f.d.AppendTo(nil)
	if err != nil {
		t.Fatal(err)
	}
	f.Packet(b, Arrival{At: at(ms), From: netip.MustParseAddr(address), Group: sacn.MulticastAddr4(f.d.Universe)})
}

// Two machines with one CID are two senders, each with its own count: nothing was
// lost of either.
func TestTwoSendersWithOneCID(t *testing.T) {
	f := newFeed(TrackerConfig{})
	for i := range 200 {
		f.from(t, float64(25*i), "10.77.0.1", uint8(i))
		f.from(t, float64(25*i+10), "10.77.0.2", uint8(i+100))
	}
	s := f.Snapshot(at(5000))
	if len(s.Sources) != 2 || len(s.Conflicts) != 1 {
		t.Fatalf("%d sources, conflicts %+v", len(s.Sources), s.Conflicts)
	}
	for _, src := range s.Sources {
		if st := src.Streams[0]; len(src.Streams) != 1 || st.Packets != 200 || st.Lost+st.Restarts+st.OutOfOrder+st.Duplicates > 0 || !st.Live {
			t.Errorf("%v: %+v", src.Address, src.Streams)
		}
	}
	if c := s.Conflicts[0]; !c.SameCID || !c.Tie || c.Live != 2 || len(c.Sources) != 2 || c.Sources[0].Address == c.Sources[1].Address {
		t.Errorf("%+v", c)
	}
	f.from(t, 10000, "10.77.0.1", 9)
	if c := f.Snapshot(at(10000)).Conflicts[0]; c.Active() || !c.SameCID {
		t.Errorf("when one has stopped: %+v", c)
	}
}

// A sender whose address changes is one sender, whose counts go on; and so it is
// when its old address comes back later.
func TestAddressChange(t *testing.T) {
	f := newFeed(TrackerConfig{})
	sequence := uint8(0)
	ms := 0.0
	addresses := []string{"10.77.0.1", "10.77.0.2", "10.77.0.1", "10.77.0.3"}
	for _, address := range addresses {
		for range 160 {
			f.from(t, ms, address, sequence)
			ms += 25
			sequence++
		}
		sequence += 5 // some are lost while it changes: of these nothing is known
		s := f.Snapshot(at(ms))
		if len(s.Sources) != 1 || s.Sources[0].Address.String() != address || len(s.Conflicts) != 0 {
			t.Fatalf("after %s: %+v, conflicts %+v", address, s.Sources, s.Conflicts)
		}
	}
	if st := f.stream(t, ms); st.Packets != 640 || st.Lost != 0 || st.Outages != 0 || st.Restarts != 0 || st.MeanRate < 39.9 || st.MeanRate > 40.1 {
		t.Errorf("%+v", st)
	}
	// After a silence the new address continues, and the silence is an outage.
	ms += 4000
	f.from(t, ms, "10.77.0.4", sequence)
	if st := f.stream(t, ms); st.Packets != 641 || st.Outages != 1 {
		t.Errorf("after a silence: %+v", st)
	}
}

// The same packet over IPv4 and IPv6 is one packet, not a duplicate (9.1): a
// stream is followed in the family that it was first heard in, until that ends.
func TestBothFamiliesAreOneSender(t *testing.T) {
	f := newFeed(TrackerConfig{})
	for i := range 100 {
		f.from(t, float64(25*i), "10.77.0.1", uint8(i))
		f.from(t, float64(25*i+1), "fd77::1", uint8(i))
	}
	s := f.Snapshot(at(2500))
	if st := f.stream(t, 2500); st.Packets != 100 || st.Duplicates+st.Lost+st.OutOfOrder > 0 || len(s.Conflicts) != 0 {
		t.Errorf("%+v, conflicts %+v", st, s.Conflicts)
	}
	for i := range 200 { // IPv4 ends
		f.from(t, float64(2500+25*i), "fd77::1", uint8(100+i))
	}
	if st := f.stream(t, 7500); !st.Live || st.Packets < 190 || st.Lost != 0 || st.Duplicates != 0 {
		t.Errorf("when only IPv6 is left: %+v", st)
	}
	// Another IPv6 address beside it is another sender.
	for i := range 10 {
		f.from(t, float64(7500+25*i), "fd77::1", uint8(300-256+i))
		f.from(t, float64(7501+25*i), "fd77::9", uint8(i))
	}
	if c := f.Snapshot(at(7800)).Conflicts; len(c) != 1 || !c[0].SameCID {
		t.Errorf("%+v", c)
	}
}

// A transmitter leaves out what it sends itself, not what another sends under its CID.
func TestOwnCIDFromElsewhere(t *testing.T) {
	ours := netip.MustParseAddr("10.77.0.1")
	local := func(a netip.Addr) bool { return a == ours }
	except, only := newFeed(TrackerConfig{Except: cid(1), Local: local}), newFeed(TrackerConfig{Only: cid(1), Local: local})
	for i := range uint8(10) {
		for _, f := range []*feed{except, only} {
			f.from(t, float64(25*int(i)), "10.77.0.1", i)
			f.from(t, float64(25*int(i)+9), "10.77.0.2", i)
		}
	}
	if s := except.Snapshot(at(250)).Sources; len(s) != 1 || s[0].Address == ours {
		t.Errorf("not ours: %+v", s)
	}
	if s := only.Snapshot(at(250)).Sources; len(s) != 1 || s[0].Address != ours || s[0].Streams[0].Packets != 10 {
		t.Errorf("ours alone: %+v", s)
	}
}
