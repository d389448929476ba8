//go:build linux

package listener

import (
	"math"
	"strconv"
	"testing"
	"time"

	"yardproof/sacn/sacntest"
)

// dropRules have nft drop 7 %. Its own counters are the outside authority on what the kernel dropped.
func dropRules(family, hook string) string {
	return "table " + family + ` loss {
	counter passed { } ;
	counter dropped { } ;
	chain in {
		type filter ` + hook + ` priority 0 ;
		udp dport 5568 numgen random mod 100 < 7 counter name dropped drop ;
		udp dport 5568 counter name passed ;
	} ;
}`
}

func nftCounters(t *testing.T, p *sacntest.Pair) map[string]uint64 {
	t.Helper()
	var answer struct {
		Nftables []struct {
			Counter struct {
				Name    string
				Packets uint64
			}
		}
	}
	sacntest.JSON(t, p.Run(t, p.Far, "nft -j list counters"), &answer)
	counters := make(map[string]uint64)
	for _, n := range answer.Nftables {
		counters[n.Counter.Name] = n.Counter.Packets
	}
	return counters
}

func TestLossAgreesWithNftables(t *testing.T) {
	sacntest.NeedTool(t, "nft")
	families(t, func(t *testing.T, v6 bool) {
		p := sacntest.NewPair(t)
		universes := []uint16{1, 2, 3, 4, 5}
		l := running(t, p, Config{IPv6: v6, Universes: universes})
		s := newSender(t, p.Near, v6)
		s.send(universes...) // the counts begin
		eventually(t, "the first packets", func() bool { n, _ := packets(l.Snapshot()); return n == 5 })
		p.Run(t, p.Far, "nft "+dropRules("inet", "hook input"))
		const rounds = 4000
		for i := range rounds {
			s.send(universes...)
			if i%20 == 0 {
				time.Sleep(time.Millisecond)
			}
		}
		p.Run(t, p.Far, "nft flush chain inet loss in")
		counters := nftCounters(t, p)
		s.send(universes...) // a last one of each, which shows any gap before it
		eventually(t, "the last packets", func() bool {
			n, _ := packets(l.Snapshot())
			return n == 10+counters["passed"]
		})
		r := l.Snapshot()
		_, lost := packets(r)
		if lost != counters["dropped"] || r.LocalDrops != 0 {
			t.Errorf("lost %d, nftables dropped %d (of %d); local drops %d", lost, counters["dropped"], s.sent, r.LocalDrops)
		}
		// And 7 % is what the rule drops: within 4 standard deviations of a binomial.
		n := float64(rounds * len(universes))
		if d := math.Abs(float64(lost) - 0.07*n); d > 4*math.Sqrt(n*0.07*0.93) {
			t.Errorf("lost %d of %v is not 7 %%", lost, n)
		}
		for _, st := range streamsOf(r) {
			if st.OutOfOrder != 0 || st.Duplicates != 0 || st.Restarts != 0 || st.Outages != 0 {
				t.Errorf("%+v", st)
			}
		}
	})
}

// A relay that reorders and duplicates, and knows exactly what it did.
func TestReorderAndDuplicate(t *testing.T) {
	families(t, func(t *testing.T, v6 bool) {
		p := sacntest.NewPair(t)
		l := running(t, p, Config{IPv6: v6, Universes: []uint16{9}})
		s := newSender(t, p.Near, v6)
		const n = 2000
		var overtaken, duplicates, lost uint64
		var held []byte // to be overtaken by so many more
		behind := 0
		for i := range n {
			b := s.packet(9)
			switch {
			case held != nil:
			case i%37 == 10:
				held, behind = b, 1+i%18
				overtaken++
				continue
			case i%41 == 11:
				lost++
				continue
			}
			s.raw(b, s.group(9))
			if i%53 == 12 {
				s.raw(b, s.group(9))
				duplicates++
			}
			if held != nil {
				if behind--; behind == 0 {
					s.raw(held, s.group(9))
					held = nil
				}
			}
		}
		if held != nil {
			t.Fatal("the relay kept a packet")
		}
		eventually(t, "all packets", func() bool { got, _ := packets(l.Snapshot()); return got == uint64(s.sent) })
		st := streamsOf(l.Snapshot())[0]
		if st.OutOfOrder != overtaken || st.Duplicates != duplicates || st.Lost != lost || st.Restarts != 0 {
			t.Errorf("out of order %d, duplicates %d, lost %d, restarts %d; the relay made %d, %d, %d", st.OutOfOrder, st.Duplicates, st.Lost, st.Restarts, overtaken, duplicates, lost)
		}
	})
}

// tshark dissects a capture of what arrived: the gaps between the sequence
// numbers it prints must be those that were counted, and the longest time
// between two packets by its clock must be the one that was measured.
func TestGapsAgreeWithTshark(t *testing.T) {
	families(t, func(t *testing.T, v6 bool) {
		p := sacntest.NewPair(t)
		l := running(t, p, Config{IPv6: v6, Universes: []uint16{3}})
		capture := p.Capture(t, p.Far)
		s := newSender(t, p.Near, v6)
		for i := range 700 {
			b := s.packet(3)
			if i%11 == 3 || i > 300 && i < 330 {
				continue
			}
			s.raw(b, s.group(3))
			if i%100 == 50 {
				time.Sleep(time.Duration(i) * time.Millisecond / 10)
			}
		}
		eventually(t, "all packets", func() bool { got, _ := packets(l.Snapshot()); return got == uint64(s.sent) })
		st := streamsOf(l.Snapshot())[0]
		rows := capture.Fields("acn.dmx.universe", "acn.dmx.seq_number", "frame.time_epoch")
		if len(rows) != s.sent {
			t.Fatalf("tshark has %d packets of %d, from %v to %v", len(rows), s.sent, rows[0], rows[len(rows)-1])
		}
		gaps, longest := 0, 0.0
		var before uint8
		var then float64
		for i, r := range rows {
			n, err1 := strconv.ParseUint(r[0], 10, 8)
			now, err2 := strconv.ParseFloat(r[1], 64)
			if err1 != nil || err2 != nil {
				t.Fatal(r)
			}
			if i > 0 {
				gaps += int(uint8(n)-before) - 1
				longest = max(longest, now-then)
			}
			before, then = uint8(n), now
		}
		if int(st.Lost) != gaps || gaps == 0 {
			t.Errorf("lost %d, tshark's numbers have %d gaps", st.Lost, gaps)
		}
		if d := st.LongestGap.Seconds() - longest; math.Abs(d) > 0.0005 {
			t.Errorf("longest gap %v, by tshark's clock %.6f s", st.LongestGap, longest)
		}
	})
}
