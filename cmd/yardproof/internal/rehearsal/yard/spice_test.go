package yard

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"yardproof/sacn/sacntest"
)

// The string of the electrical tests, in figures that a netlist can be written from
// by hand: 100 pixels of 12 V and 50 mA, 1 mA of it for the chip, 10 milliohms of each
// conductor from pixel to pixel, leads of 20 milliohms at both ends or at the start.
const (
	plainPixels = 100
	pitchOhms   = 0.010
	leadOhms    = 0.020
	plainPlan   = `
supplies: [{name: a, volts: 12, watts: 350}]
controllers: [{name: box}]
strings:
  - {name: one, controller: box, port: 1, universe: 1, pixels: 100, chip: ws2811, amps_per_pixel: 0.05, idle_amps_per_pixel: 0.001, supply: a, fuse_amps: 5,
     pitch: {milliohms: 100, millimetres: 100}, feeds: [{at: start, milliohms: 20, metres: 1}%s]}
`
	farFeed = ", {at: end, milliohms: 20, metres: 1}"
)

// spoiled is the circuit with one part in it changed, as the netlist has it: ohms to
// put in series with a conductor, siemens to put across a pixel.
type spoiled struct {
	plus, minus map[int]float64 // by the pixel ahead
	leads       [2]float64      // ohms in the V+ of each
	backs       [2]float64      // in the returns
	across      map[int]float64
	volts       float64
	times       float64
}

const open = 1e10

// Every fault that is electrical, at its own place and severity, against ngspice:
// volts of every pixel within 1 mV, currents of the feeds within 1 mA.
func TestElectricalFaultsAgainstSpice(t *testing.T) {
	for _, tt := range []struct {
		fault Fault
		is    spoiled
	}{
		{Fault{Kind: BrokenPositive, Place: 40}, spoiled{plus: map[int]float64{40: open}}},
		{Fault{Kind: BrokenReturn, Place: 40}, spoiled{minus: map[int]float64{40: open}}},
		{Fault{Kind: JointPositive, Place: 30, Severity: 0.25}, spoiled{plus: map[int]float64{30: 0.25}}},
		{Fault{Kind: JointReturn, Place: 70, Severity: 0.5}, spoiled{minus: map[int]float64{70: 0.5}}},
		{Fault{Kind: JointLead, Place: 1, Severity: 0.4}, spoiled{leads: [2]float64{0.4, 0}}},
		{Fault{Kind: FuseBlown, Place: 1}, spoiled{leads: [2]float64{open, 0}}},
		{Fault{Kind: FeedOff, Place: 1}, spoiled{leads: [2]float64{open, 0}, backs: [2]float64{open, 0}}},
		{Fault{Kind: SupplySag, Severity: 0.2}, spoiled{volts: 12 * 0.8}},
		{Fault{Kind: ThinWire, Severity: 2.5}, spoiled{times: 2.5}},
		{Fault{Kind: WetJoint, Place: 20, Severity: 0.4}, spoiled{across: map[int]float64{21: 0.4 / 12}}},
		{Fault{Kind: DeadPixel, Place: 3}, spoiled{}},
	} {
		for feeds, far := range map[int]string{1: "", 2: farFeed} {
			t.Run(fmt.Sprintf("%s, %d feeds", tt.fault.Kind, feeds), func(t *testing.T) {
				p, b := parse(t, fmt.Sprintf(plainPlan, far))
				tt.fault.String = "one"
				y := lay(t, p, b, tt.fault)
				for i := range 3 {
					y.Frame(0, slotsOf(p, 0, level(byte(60+70*i))))
				}
				y.Volts(0, 1)
				got := sacntest.Spice(t, netlist(y, tt.is, feeds))
				for pixel := 1; pixel <= plainPixels; pixel++ {
					want := got[fmt.Sprintf("p%d", pixel)] - got[fmt.Sprintf("n%d", pixel)]
					if v := y.Volts(0, pixel); math.Abs(v-want) > 0.001 && want > 0.02 || v > 0.02 && want <= 0.02 {
						t.Fatalf("pixel %d: %.4f V, ngspice has %.4f V", pixel, v, want)
					}
					if alive := want >= 0.45*12; alive != y.strings[0].alive[pixel-1] {
						t.Fatalf("pixel %d works: %t, at %.2f V", pixel, !alive, want)
					}
				}
				for f := range feeds {
					if a, want := y.FeedAmps(0, f), got[fmt.Sprintf("vm%d#branch", f+1)]; math.Abs(a-want) > 0.001 {
						t.Errorf("feed %d: %.4f A, ngspice has %.4f A", f+1, a, want)
					}
				}
			})
		}
	}
}

// netlist draws the string with what is lit on it, every conductor on its own. Its
// load is that of the WS2811's row: green and blue fade from 10.4 to 9.0 V, red from
// 7.4 to 6.0 V, the chip itself below 3.6 V.
func netlist(y *Yard, is spoiled, feeds int) string {
	var w strings.Builder
	w.WriteString("* one string\n.options reltol=1e-9 abstol=1e-13 vntol=1e-10 gmin=1e-14 itl1=1000\n")
	volts, times := 12.0, 1.0
	if is.volts > 0 {
		volts = is.volts
	}
	if is.times > 0 {
		times = is.times
	}
	fmt.Fprintf(&w, "VS sup 0 DC %g\n", volts)
	c := y.circuit(0)
	for k := 1; k <= plainPixels; k++ {
		fmt.Fprintf(&w, "RP%d p%d p%d %.12g\nRN%d n%d n%d %.12g\n", k, k-1, k, times*pitchOhms+is.plus[k-1], k, k-1, k, times*pitchOhms+is.minus[k-1])
		v := fmt.Sprintf("V(p%d,n%d)", k, k)
		fmt.Fprintf(&w, "B%d p%d n%d I=%.12g*min(1,max(0,(%s-6)/1.4))+%.12g*min(1,max(0,(%s-9)/1.4))+%.12g*min(1,max(0,%s/3.6))\n",
			k, k, k, c.red[k-1], v, c.rest[k-1], v, c.idle[k-1], v)
		fmt.Fprintf(&w, "RL%d p%d n%d %.12g\n", k, k, k, 1/(1e-7+is.across[k]))
		fmt.Fprintf(&w, ".nodeset v(p%d)=%g v(n%d)=0\n", k, volts, k)
	}
	for f := range feeds {
		at := f * plainPixels
		fmt.Fprintf(&w, "VM%d sup m%d DC 0\nRA%d m%d p%d %.12g\nRB%d 0 n%d %.12g\n", f+1, f+1, f+1, f+1, at, leadOhms+is.leads[f], f+1, at, leadOhms+is.backs[f])
	}
	w.WriteString(".control\nop\nset numdgt=12\nprint all\nquit\n.endc\n.end\n")
	return w.String()
}
