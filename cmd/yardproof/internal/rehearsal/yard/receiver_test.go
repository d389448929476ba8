package yard

import (
	"net/netip"
	"testing"
	"time"

	"yardproof/sacn"
)

// Three pixels on each of three controllers, by group and by address, with what each
// does when data stops.
const receiverPlan = `
controllers: [{name: holds, on_loss: holds}, {name: dark, on_loss: dark}, {name: own, on_loss: own-pattern}, {name: alone, address: 127.0.0.9}]
strings:
  - {name: h, controller: holds, port: 1, universe: 1, pixels: 3}
  - {name: d, controller: dark, port: 1, universe: 1, channel: 11, pixels: 3}
  - {name: o, controller: own, port: 1, universe: 1, channel: 22, pixels: 3}
  - {name: u, controller: alone, port: 1, universe: 2, pixels: 3}
`

func packet(sequence, value, priority uint8) *sacn.Data {
	d := &sacn.Data{CID: sacn.CID{1}, Priority: priority, Sequence: sequence, Universe: 1, Slots: make([]byte, 512)}
	for i := range d.Slots {
		d.Slots[i] = value
	}
	return d
}

func first(y *Yard, n int) uint8 { return y.Look(nil, n)[0].R }

var toGroup netip.Addr

// What is taken and what is not, each by its clause of E1.31-2018.
func TestReceiver(t *testing.T) {
	const second = time.Second
	for _, tt := range []struct {
		clause string
		plays  func(y *Yard)
		want   uint8
	}{
		{"6.7.2: the packet before the last is late, not new", func(y *Yard) {
			y.Receive(0, toGroup, packet(10, 50, 100))
			y.Receive(0, toGroup, packet(9, 99, 100))
		}, 50},
		{"6.7.2: one 20 behind is a source that began anew", func(y *Yard) {
			y.Receive(0, toGroup, packet(30, 50, 100))
			y.Receive(0, toGroup, packet(10, 99, 100))
		}, 99},
		{"6.2.3: the higher priority wins, whatever came last", func(y *Yard) {
			y.Receive(0, toGroup, packet(1, 50, 120))
			low := packet(1, 99, 119)
			low.CID = sacn.CID{2}
			y.Receive(0, toGroup, low)
		}, 50},
		{"6.7.1: after 2.5 s without a packet the other source has it", func(y *Yard) {
			y.Receive(0, toGroup, packet(1, 50, 120))
			low := packet(1, 99, 119)
			low.CID = sacn.CID{2}
			y.Receive(2600*time.Millisecond, toGroup, low)
			y.Refresh(2600 * time.Millisecond)
		}, 99},
		{"6.2.6: a terminated source is gone at once", func(y *Yard) {
			y.Receive(0, toGroup, packet(1, 50, 120))
			low := packet(1, 99, 119)
			low.CID = sacn.CID{2}
			y.Receive(0, toGroup, low)
			end := packet(2, 0, 120)
			end.Options = sacn.StreamTerminated
			y.Receive(0, toGroup, end)
		}, 99},
		{"6.2.6: preview data drives nothing", func(y *Yard) {
			p := packet(1, 50, 100)
			p.Options = sacn.Preview
			y.Receive(0, toGroup, p)
		}, 0},
		{"7.7: another START code is no light", func(y *Yard) {
			p := packet(1, 50, 100)
			p.StartCode = 0xdd
			y.Receive(0, toGroup, p)
		}, 0},
		{"11: without a synchronization packet so far, data is shown as it comes", func(y *Yard) {
			p := packet(1, 50, 100)
			p.SyncAddress = 7
			y.Receive(0, toGroup, p)
		}, 50},
		{"11: once there was one, data waits for the next", func(y *Yard) {
			y.Synchronize(0, 7)
			p := packet(1, 50, 100)
			p.SyncAddress = 7
			y.Receive(0, toGroup, p)
		}, 0},
		{"11: and is shown with it", func(y *Yard) {
			y.Synchronize(0, 7)
			p := packet(1, 50, 100)
			p.SyncAddress = 7
			y.Receive(0, toGroup, p)
			y.Synchronize(0, 7)
		}, 50},
		{"6.2.6: Force_Synchronization goes on when they stop", func(y *Yard) {
			y.Synchronize(0, 7)
			p := packet(1, 50, 100)
			p.SyncAddress, p.Options = 7, sacn.ForceSync
			y.Receive(3*second, toGroup, p)
			y.Refresh(3 * second)
		}, 50},
	} {
		p, b := parse(t, receiverPlan)
		y := lay(t, p, b)
		tt.plays(y)
		y.Refresh(y.now + time.Millisecond)
		if got := first(y, 0); got != tt.want {
			t.Errorf("%s: %d is shown, want %d", tt.clause, got, tt.want)
		}
	}
}

// Packets to an address reach that controller alone, and packets to the group the others.
func TestAddresses(t *testing.T) {
	p, b := parse(t, receiverPlan)
	y := lay(t, p, b)
	y.Receive(0, toGroup, packet(1, 50, 100))
	alone := packet(1, 70, 100)
	alone.Universe = 2
	y.Receive(0, toGroup, alone)
	y.Refresh(0)
	if got := first(y, 3); got != 0 {
		t.Errorf("a group is no address: %d", got)
	}
	y.Receive(0, netip.MustParseAddr("127.0.0.9"), alone)
	y.Refresh(0)
	if first(y, 0) != 50 || first(y, 1) != 50 || first(y, 3) != 70 {
		t.Errorf("%d %d %d", first(y, 0), first(y, 1), first(y, 3))
	}
}

// When data stops for 2.5 s (6.7.1) each does what the plan says it does.
func TestOnLoss(t *testing.T) {
	p, b := parse(t, receiverPlan)
	y := lay(t, p, b)
	y.Receive(0, toGroup, packet(1, 50, 100))
	shows := func(at time.Duration) [3]uint8 {
		y.Refresh(at)
		return [3]uint8{first(y, 0), first(y, 1), first(y, 2)}
	}
	if got := shows(2500 * time.Millisecond); got != [3]uint8{50, 50, 50} {
		t.Errorf("at 2.5 s: %d", got)
	}
	if got := shows(3 * time.Second); got != [3]uint8{50, 0, 80} { // own: red in the seconds that divide by three
		t.Errorf("after: %d", got)
	}
	if got := shows(4 * time.Second); got != [3]uint8{50, 0, 0} {
		t.Errorf("a second later: %d", got)
	}
}

// Faults of network and controller.
func TestReceiverFaults(t *testing.T) {
	frame := func(v byte) [][]byte {
		return [][]byte{packet(1, v, 100).Slots, packet(1, v, 100).Slots} // the group's, then the address's
	}
	at := func(f Fault, n int, when time.Duration, v byte) uint8 {
		t.Helper()
		p, b := parse(t, receiverPlan)
		f.String = p.Strings[n].Name
		y := lay(t, p, b, f)
		for now := time.Duration(0); now < when; now += 25 * time.Millisecond {
			y.Frame(now, frame(30))
		}
		y.Frame(when, frame(v))
		return first(y, n)
	}
	for _, tt := range []struct {
		why  string
		f    Fault
		n    int
		at   time.Duration
		want uint8
	}{
		{"a controller that waits for its address hears no group", Fault{Kind: WrongDelivery}, 0, time.Second, 0},
		{"and one that waits for a group hears no address", Fault{Kind: WrongDelivery}, 3, time.Second, 0},
		{"the second source has the priority (6.2.3): its red is 160", Fault{Kind: SecondSource, Severity: 5}, 0, time.Second, 160},
		{"frozen at a fifth: 51 of 255", Fault{Kind: Frozen, Severity: 0.2}, 0, time.Second, 51},
		{"its own test shows green in the second second", Fault{Kind: OwnTest}, 0, 4 * time.Second, 0},
		{"and red in the first", Fault{Kind: OwnTest}, 0, 3 * time.Second, 80},
		{"the switch passes the group before 260 s (RFC 3376 8.4)", Fault{Kind: SwitchStops, Severity: 260}, 0, 259 * time.Second, 200},
		{"and then no more: the controller holds", Fault{Kind: SwitchStops, Severity: 260}, 0, 264 * time.Second, 30},
		{"an address is no group", Fault{Kind: SwitchStops, Severity: 260}, 3, 264 * time.Second, 200},
	} {
		if got := at(tt.f, tt.n, tt.at, 200); got != tt.want {
			t.Errorf("%s: %d, want %d", tt.why, got, tt.want)
		}
	}

	// Of equal priorities both are seen in turn: that is what flickers.
	p, b := parse(t, receiverPlan)
	y := lay(t, p, b, Fault{Kind: SecondSource, String: "h"})
	seen := map[uint8]int{}
	for i := range 10 {
		y.Frame(time.Duration(i)*25*time.Millisecond, frame(200))
		seen[first(y, 0)]++
	}
	if seen[200] == 0 || seen[160] == 0 || len(seen) != 2 {
		t.Errorf("two sources of one priority show %v", seen)
	}
}
