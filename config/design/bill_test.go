package design

import (
	"fmt"
	"testing"
)

// TestBillByHand adds up by hand what a proposal takes: a fuse for a feed that has none, a
// lead of 4 m for a string without feeds, held against 2 m of wire, a connector and a
// pixel in hand.
func TestBillByHand(t *testing.T) {
	p := load(t, `supplies: [{name: hut, volts: 12, watts: 350, at: 0}]
stock:
  wire: [{awg: 16, price: 0.9, have: 2}]
  fuses: [{amps: 5, price: 0.4}]
  connectors: {price: 1.2, have: 1}
  pixels: [{chip: ws2811, have: 1}]
strings:
  - {name: rail, universe: 1, pixels: 50, supply: hut, amps_per_pixel: 0.02, pitch: {awg: 18, millimetres: 50}, feeds: [{at: start, awg: 16, metres: 3}]}
  - {name: gable, universe: 2, pixels: 50, volts: 12, amps_per_pixel: 0.02, pitch: {awg: 18, millimetres: 50}, at: 4, to: 6.5}
`)
	out := New(t.Context(), p, Options{Level: 1})
	if len(out.Refused) > 0 || out.Bill == nil {
		t.Fatalf("not proposed: %+v", out.Refused)
	}
	want := []string{
		"2 fuse of 5 A, DC-rated and 0 spare, 0 in hand: buy 2 for 0.8",
		"1 connector of pair and fuse holder, for a feed and 0 spare, 1 in hand: buy 0 for 0",
		"4 wire of 16 AWG copper and 0.4 spare, 2 in hand: buy 2.4 for 2.16",
		"0 pixels of WS2811, 12 V and 5 spare, 1 in hand: buy 4 for 0", // a twentieth of 100
	}
	for i, it := range out.Bill.Items {
		got := fmt.Sprintf("%g %s of %s and %g spare, %g in hand: buy %g for %g", it.Need, it.Kind, it.What, it.Spare, it.Have, it.Buy, it.Cost)
		if i >= len(want) || got != want[i] {
			t.Errorf("item %d: %s", i, got)
		}
	}
	if len(out.Bill.Items) != len(want) {
		t.Errorf("%d items", len(out.Bill.Items))
	}
	if got := fmt.Sprint(out.Bill.Cuts); got != "[{16 AWG copper 4 1 [gable at start]}]" {
		t.Error("to cut:", got)
	}
	if got := fmt.Sprint(out.Bill.Cost, out.Bill.Unpriced); got != "2.96 [WS2811, 12 V pixels]" {
		t.Error("costs", got)
	}
}

// A bill is of what is not in hand: what is in hand in plenty is not bought, and a share
// of a metre is bought by the decimetre.
func TestBillAgainstStock(t *testing.T) {
	p := load(t, `supplies: [{name: hut, volts: 12, watts: 350}, {name: pier, volts: 12, watts: 350}]
stock: {wire: [{awg: 16, price: 1, have: 100}], supplies: [{volts: 12, watts: 350, price: 30, have: 1}], fuses: [{amps: 3, price: 0.5, have: 9}], pixels: [{chip: WS2811, have: 2}]}
strings:
  - {name: rail, universe: 1, pixels: 40, supply: hut, feeds: [{at: start, awg: 16, metres: 1.25, fuse_amps: 3}, {at: end, awg: 14, metres: 1.11, fuse_amps: 3}], pitch: {awg: 18, millimetres: 50}}
  - {name: mast, universe: 2, pixels: 20, supply: pier, volts: 12, fuse_amps: 3}
`)
	buy := map[string]float64{}
	for _, it := range BillOf(p).Items {
		buy[it.Kind+" "+it.What] = it.Buy
	}
	for what, want := range map[string]float64{
		"supply 12 V, 350 W":                         1,
		"fuse 3 A, DC-rated":                         0,
		"connector pair and fuse holder, for a feed": 3,
		"wire 16 AWG copper":                         0,
		"wire 14 AWG copper":                         1.3, // 1.11 and 0.111
		"pixels WS2811, 12 V":                        61,  // 60 and 3 spare, 2 in hand
	} {
		if got, ok := buy[what]; !ok || got != want {
			t.Errorf("%s: buy %g, want %g", what, got, want)
		}
	}
}
