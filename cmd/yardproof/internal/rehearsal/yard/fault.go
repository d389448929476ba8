package yard

import (
	"fmt"
	"math"

	"yardproof/config"
)

// A Kind of fault.
type Kind string

// The kinds. What Place and Severity mean for each is in [Kinds].
const (
	DeadPixel        Kind = "dead pixel"
	DeadChip         Kind = "dead chip"
	DeadColour       Kind = "dead colour"
	BrokenPositive   Kind = "broken V+"
	BrokenReturn     Kind = "broken return"
	BrokenData       Kind = "broken data"
	JointPositive    Kind = "bad joint in V+"
	JointReturn      Kind = "bad joint in the return"
	JointLead        Kind = "bad joint in a lead"
	FuseBlown        Kind = "blown fuse"
	FeedOff          Kind = "unplugged feed"
	SupplySag        Kind = "low supply"
	SupplyOff        Kind = "supply off"
	HotSupply        Kind = "supply that trips hot"
	ThinWire         Kind = "thin wire"
	WetJoint         Kind = "wet joint"
	WrongOrder       Kind = "wrong colour order"
	WrongCount       Kind = "wrong count"
	WrongStart       Kind = "wrong start channel"
	WrongNulls       Kind = "wrong null pixels"
	Reversed         Kind = "reversed direction"
	SwappedPorts     Kind = "swapped ports"
	SwappedUniverses Kind = "swapped universes"
	WrongPack        Kind = "wrong universe size"
	WrongDelivery    Kind = "multicast and unicast mixed"
	SecondSource     Kind = "second source"
	Frozen           Kind = "frozen controller"
	OwnTest          Kind = "controller's own test"
	WrongChip        Kind = "chip of another type"
	FourForThree     Kind = "four channels for three"
	LongDataLead     Kind = "long data lead"
	NoReturnBond     Kind = "missing return bond"
	SwitchStops      Kind = "switch that stops multicast"
)

// Fault is one thing that is wrong in a yard.
type Fault struct {
	Kind     Kind
	String   string  // the name of the string it is on, or of one that its supply or controller serves
	With     string  // the other string of a swap
	Place    int     // what [Info.At] counts
	Severity float64 // in [Info.Unit]
}

// At says what the place of a fault counts.
type At int

// What places count.
const (
	Whole At = iota // nothing: the string as a whole
	Pixel           // the lit pixel, from 1
	Joint           // the lit pixel ahead of it, from 1 to one less than there are
	Feed            // the feed as in the plan, from 1
)

// Info is what there is to know about a kind.
type Info struct {
	Kind    Kind
	At      At
	Unit    string     // of its severity; "": it has none
	Range   [2]float64 // of the severities that [Random] takes
	Integer bool       // whole severities only, never 0
	Swap    bool       // With is needed
	Reach   Reach      // how far it goes beyond its string
}

// Reach is what a fault belongs to.
type Reach int

// What faults belong to.
const (
	OfString Reach = iota
	OfSupply
	OfController
)

// Kinds lists every kind. Ranges are common practice, no source, but where a
// clause is named.
func Kinds() []Info {
	return []Info{
		{Kind: DeadPixel, At: Pixel},
		{Kind: DeadChip, At: Pixel},
		{Kind: DeadColour, At: Pixel, Unit: "colour: 0 red, 1 green, 2 blue", Range: [2]float64{0, 2}},
		{Kind: BrokenPositive, At: Joint},
		{Kind: BrokenReturn, At: Joint},
		{Kind: BrokenData, At: Joint},
		{Kind: JointPositive, At: Joint, Unit: "ohms", Range: [2]float64{0.05, 2}},
		{Kind: JointReturn, At: Joint, Unit: "ohms", Range: [2]float64{0.05, 2}},
		{Kind: JointLead, At: Feed, Unit: "ohms", Range: [2]float64{0.1, 2}},
		{Kind: FuseBlown, At: Feed},
		{Kind: FeedOff, At: Feed},
		{Kind: SupplySag, Unit: "share of its volts that is missing", Range: [2]float64{0.08, 0.3}, Reach: OfSupply},
		{Kind: SupplyOff, Reach: OfSupply},
		{Kind: HotSupply, Unit: "minutes at a fifth of its rating", Range: [2]float64{3, 10}, Reach: OfSupply},
		{Kind: ThinWire, Unit: "times the resistance", Range: [2]float64{1.55, 4}},
		{Kind: WetJoint, At: Joint, Unit: "amperes that leak at the string's volts", Range: [2]float64{0.05, 0.5}},
		{Kind: WrongOrder, Unit: "permutation, from 1", Range: [2]float64{1, 5}, Integer: true},
		{Kind: WrongCount, Unit: "pixels too many; negative: too few", Range: [2]float64{-10, 3}, Integer: true},
		{Kind: WrongStart, Unit: "channels too far", Range: [2]float64{-12, 12}, Integer: true},
		{Kind: WrongNulls, Unit: "null pixels too many", Range: [2]float64{-2, 2}, Integer: true},
		{Kind: Reversed},
		{Kind: SwappedPorts, Swap: true},
		{Kind: SwappedUniverses, Swap: true},
		{Kind: WrongPack, Reach: OfController},
		{Kind: WrongDelivery, Reach: OfController},
		{Kind: SecondSource, Unit: "priority above the plan's", Range: [2]float64{0, 50}, Reach: OfController},
		{Kind: Frozen, Unit: "level that it froze at", Range: [2]float64{0, 0.5}, Reach: OfController},
		{Kind: OwnTest, Reach: OfController},
		{Kind: WrongChip, Unit: "share of frames that flicker; else dark", Range: [2]float64{0, 1}},
		{Kind: FourForThree},
		{Kind: LongDataLead, Unit: "share of frames with a fault", Range: [2]float64{0.05, 0.5}},
		{Kind: NoReturnBond, Unit: "share of frames with a fault at 2 A", Range: [2]float64{0.3, 1}},
		// A snooping switch forgets a group after the Group Membership Interval, 260 s
		// by default (RFC 3376 8.4, from memory).
		{Kind: SwitchStops, Unit: "seconds", Range: [2]float64{200, 300}, Reach: OfController},
	}
}

// Lookup returns what there is to know about a kind.
func Lookup(k Kind) (Info, bool) {
	for _, i := range Kinds() {
		if i.Kind == k {
			return i, true
		}
	}
	return Info{}, false
}

// check returns why a fault cannot be planted in a plan; nil: it can.
func (f Fault) check(p *config.Plan) error {
	i, ok := Lookup(f.Kind)
	s := p.Find(f.String)
	switch {
	case !ok:
		return fmt.Errorf("there is no kind of fault %q", f.Kind)
	case s == nil:
		return fmt.Errorf("%s: the plan has no string %q; %s", f.Kind, f.String, p.NoString(f.String))
	case i.Swap && (p.Find(f.With) == nil || f.With == f.String):
		return fmt.Errorf("%s: the plan has no other string %q", f.Kind, f.With)
	case math.IsNaN(f.Severity) || math.IsInf(f.Severity, 0):
		return fmt.Errorf("%s: severity %v is not a number", f.Kind, f.Severity)
	}
	if most := i.At.most(s); i.At != Whole && (f.Place < 1 || f.Place > most) {
		return fmt.Errorf("%s on %s: place %d is outside 1 to %d", f.Kind, f.String, f.Place, most)
	}
	return nil
}

// most is the last place on a string.
func (a At) most(s *config.String) int {
	switch a {
	case Pixel:
		return s.Pixels
	case Joint:
		return s.Pixels - 1
	case Feed:
		return len(s.Feeds)
	}
	return 0
}
