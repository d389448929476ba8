// Package config is the plan file: parsing, validation, and the map from
// strings to universes and channels. It refuses to know about electricity (that
// is config/budget), about light and about the network: a plan is text and
// arithmetic.
package config

import (
	"iter"
	"net/netip"
	"time"

	"yardproof/sacn"
)

// Plan is a plan file that has been read, with every default filled in and
// every name resolved. Nothing in it is changed afterwards.
type Plan struct {
	Marks
	File        string // as named on the command line
	Name        string
	Source      Source
	Network     Network
	Controllers []*Controller
	Supplies    []*Supply
	Mains       []*Mains
	Enclosures  []*Enclosure
	Feeders     []*Feeder
	Strings     []*String
	Reserved    []ReservedChannels
	BurnIn      BurnIn

	Stock       Stock
	Protection  Protection
	Tolerance   Tolerance
	Temperature float64 // where wire and fuses lie, degrees Celsius, default 20
	Meter       Meter   // of the clamp meter, default [DefaultMeter]

	addresses *AddressMap // as Map returns it; nil when the plan was made by hand
}

// The defaults of a plan.
const (
	defaultSourceName  = "yardproof"
	defaultPriority    = sacn.DefaultPriority
	defaultRate        = 40   // frames a second
	defaultSpread      = 0.5  // of the frame period
	defaultSupplyUse   = 0.8  // of a supply's rating
	defaultFuseUse     = 0.75 // of a fuse's rating at 25 degrees Celsius
	defaultChip        = "ws2811"
	defaultTemperature = 20
	coldest, hottest   = -60, 70 // degrees Celsius; at 75 what common insulation bears is used up, and no wire carries anything
)

// Labels goes over the plan's strings, by name and label.
func (p *Plan) Labels() iter.Seq2[string, string] {
	return func(yield func(name, label string) bool) {
		for _, s := range p.Strings {
			if !yield(s.Name, s.Label) {
				return
			}
		}
	}
}

// MaxStringPixels is how many addresses one string may have: a data line of so
// many would take three seconds to refresh.
const MaxStringPixels = 100_000

// MaxPixels is how many pixels a plan may have: what all universes hold.
const MaxPixels = sacn.MaxUniverse * (sacn.MaxSlots / 3)

// Pixels is how many pixels all strings have, null pixels not counted; past
// MaxPixels it stops counting.
func (p *Plan) Pixels() int {
	n := 0
	for _, s := range p.Strings {
		if n += s.Pixels; n > MaxPixels {
			break
		}
	}
	return n
}

// Source is how the transmitter presents itself.
type Source struct {
	Marks
	Name     string // up to 63 octets of UTF-8
	Priority int    // 0-200, default 100
}

// Network is how packets leave.
type Network struct {
	Marks
	Interface    string  // "": must be given by flag
	Rate         float64 // frames a second, default 40
	SyncUniverse uint16  // 0: no synchronization packets
	Spread       float64 // share of the frame period that packets are spread over, 0-1, default 0.5
	UsedSlots    bool    // slots: used; default full, 512 slots in every packet
	IPv6         bool    // family: ipv6
	TTL          int     // multicast hops, 1-255, default 1
	Preview      bool    // set Preview_Data
	ForceSync    bool    // set Force_Synchronization
}

// Pack is how pixels fill universes.
type Pack string

// The packings.
const (
	PackWhole      Pack = "whole"      // no pixel straddles a universe
	PackContinuous Pack = "continuous" // all 512 slots are filled
)

// OnLoss is what a controller does when its data stops.
type OnLoss string

// What controllers do when their data stops.
const (
	OnLossUnknown    OnLoss = "unknown"
	OnLossHolds      OnLoss = "holds"
	OnLossDark       OnLoss = "dark"
	OnLossOwnPattern OnLoss = "own-pattern"
)

// SeenOnLoss are the words for what somebody who pulls the cable can see.
func SeenOnLoss() []string {
	return []string{string(OnLossHolds), string(OnLossDark), string(OnLossOwnPattern)}
}

// Controller turns universes into pixel data lines.
type Controller struct {
	Marks
	Name             string
	Address          netip.Addr // zero: multicast
	Pack             Pack       // default whole
	OnLoss           OnLoss     // default unknown
	MaxAmps          float64    // of its power input; 0: not known
	MaxPixelsPerPort int        // 0: not known
	Ports            int        // how many, named 1, 2 and so on; 0: not known
	MaxUniverses     int        // 0: not known
	Spot             Spot       // nil: not known
}

// Supply is a DC power supply.
type Supply struct {
	Marks
	Name            string
	Volts           float64
	Watts           float64
	ContinuousShare float64    // share of the rating for continuous use, 0-1, default 0.8
	HiccupAmps      float64    // what it gives before it folds back; 0: not known
	Spot            Spot       // nil: not known
	Enclosure       *Enclosure // nil: it is in the open

	// What its plate or leaflet says of its mains side; 0: not known.
	Efficiency, PowerFactor, InrushAmps, LeakageMilliamps float64
}

// Protection is what the judgement of faults assumes of fuses.
type Protection struct {
	Marks
	FuseHolds   float64 // what a fuse may hold for ever, as a multiple of its rating, default 1.1
	ShortFactor float64 // what a short must draw for it to open soon, likewise, default 2
}

// DefaultProtection is what is assumed where the plan says nothing: blade fuses'
// standards test at 110 % of the rating and more (from memory, unchecked); a
// fuse-derating guide (from an excerpt) says that fuses up to 10 A open within 5 s
// at 200 %.
var DefaultProtection = Protection{FuseHolds: 1.10, ShortFactor: 2}

// Metal is what a wire is made of.
type Metal string

// The metals.
const (
	Copper Metal = "copper"
	CCA    Metal = "cca" // copper-clad aluminium
)

// Wire is a run of two equal conductors, out and return. Exactly one of AWG,
// MM2 and Milliohms is set when the wire is known; none when it has no length.
type Wire struct {
	AWG       int     // gauge (ASTM B258)
	HasAWG    bool    // AWG 0 is a gauge too
	MM2       float64 // cross-section of one conductor
	Milliohms float64 // of one conductor, for each metre, at 20 degrees Celsius
	Metres    float64 // length one way
	Metal     Metal   // default copper
}

// Known reports whether the wire has a resistance.
func (w Wire) Known() bool { return w.HasAWG || w.MM2 > 0 || w.Milliohms > 0 }

// Feeder is a wire from a supply to a fuse block that several feeds share.
type Feeder struct {
	Marks
	Name                string
	Supply              *Supply
	Wire                Wire
	FuseAmps            float64 // 0: not known
	FuseContinuousShare float64 // share of the fuse's rating for continuous use, default 0.75
	ConnectorAmps       float64 // what its connectors may carry; 0: not known
	Spot                Spot    // of its fuse block; nil: not known

	Temperature *float64 // of its place, see [Celsius]; nil: the plan's
}

// Feed is where power enters a string.
type Feed struct {
	Marks
	Address             int     // address on the data line where it joins, null pixels included, from 1
	At                  string  // as written: start, end or a pixel number
	Supply              *Supply // its feeder's, if it has one; nil: not known
	Feeder              *Feeder // nil: its own wire goes to the supply
	Wire                Wire    // from the supply or feeder to the string; zero: no length
	FuseAmps            float64 // 0: not known
	FuseContinuousShare float64 // share of the rating for continuous use, default 0.75
	ConnectorAmps       float64 // what its connectors may carry, by default as the string's; 0: not known

	Temperature *float64 // of its fuse and lead, see [Celsius]; nil: its string's
}

// Order is what consecutive slots of a pixel mean: a permutation of RGB or RGBW.
type Order string

// Flow is the direction in which a controller's port counts pixels.
type Flow string

// The directions.
const (
	Forward  Flow = "forward"
	Backward Flow = "backward"
)

// LoadKind is how a pixel's current depends on its volts.
type LoadKind string

// The loads.
const (
	LoadCurrent  LoadKind = "current"  // linear constant current
	LoadResistor LoadKind = "resistor" // resistor-limited
	LoadPower    LoadKind = "power"    // switching regulator: current rises as volts fall
)

// Chip names a pixel driver chip and what the plan says of it in place of the
// budget's table. Zero fields keep the table's value.
type Chip struct {
	Marks
	Name          string // lower case, default ws2811; none: plain RGB, no data line
	BitsPerSecond float64
	BitsPerPixel  int
	Reset         time.Duration
	DropoutVolts  float64
}

// ChipNone is the chip of plain RGB runs and floods: amps and volts, no data time.
const ChipNone = "none"

// Jumper is extra wire between two pixels.
type Jumper struct {
	Marks
	After int  // lit pixel, from 1
	Wire  Wire // gauge and metal default to the pitch's
}

// String is one string of pixels.
type String struct {
	Marks
	Index      int // in Plan.Strings
	Name       string
	Label      string // on the tag of the physical string
	Controller *Controller
	Port       string
	Receiver   string
	Output     string
	After      *String // its data comes through this one, on the same port; nil: from the port
	Universe   uint16
	Channel    int // first channel, 1-512
	Pixels     int // addresses on the data line that have channels
	NullPixels int // addresses ahead of pixel 1: line time and idle current, no channels
	Order      Order
	Chip       Chip

	Volts            float64  // default its supply's; 0: not known
	Load             LoadKind // "": the chip's
	AmpsPerPixel     float64  // at full white; 0: the chip's
	IdleAmpsPerPixel float64  // dark; negative: the chip's
	Pitch            Wire     // from pixel to pixel
	Jumpers          []Jumper
	DataLead         float64  // metres from port to first pixel; 0: not known
	CutPositiveAfter []int    // lit pixels after which V+ is cut
	Feeds            []*Feed  // at least one
	FeedPoints       []int    // lit pixels where power can be cut in, besides ends and jumpers; none: at any
	Spot, EndSpot    Spot     // of its first and its last pixel; nil: not known
	ConnectorAmps    float64  // what its connectors may carry; 0: not known
	Temperature      *float64 // of its place, see [Celsius]; nil: the plan's

	// What the controller's port does to what it is sent.
	PortOrder    Order   // "": not known
	Brightness   float64 // 0-1, default 1
	Gamma        float64 // default 1
	Copies       int     // pixels for each address, default 1
	Fold         int     // zig-zag every so many pixels; 0: none
	Flow         Flow    // default forward
	WhiteDerived bool    // white: derived
	NullsByPlan  bool    // nulls_by: plan: null pixels take channels

	ahead int // in a part of a plan: strings before it that belong to other parts
}

// Celsius is the temperature of a place, in degrees Celsius: its own, or else that
// of what it belongs to.
func Celsius(own *float64, otherwise float64) float64 {
	if own != nil {
		return *own
	}
	return otherwise
}

// Find returns the string of a name, and nil when the plan has none.
func (p *Plan) Find(name string) *String {
	for _, s := range p.Strings {
		if s.Name == name {
			return s
		}
	}
	return nil
}

// Line is the data line a string is on: a controller's port, or an output of a
// receiver on it. A line without a port is not known.
type Line struct {
	Controller             *Controller
	Port, Receiver, Output string
}

// Line returns the data line of the string.
func (s *String) Line() Line { return Line{s.Controller, s.Port, s.Receiver, s.Output} }

// ChannelsPerPixel is 3, or 4 for an order with white.
func (s *String) ChannelsPerPixel() int { return len(s.Order) }

// ReservedChannels is a range of channels that belongs to something else on a universe of
// ours: it is always sent as Value and no pattern touches it.
type ReservedChannels struct {
	Marks
	Universe    uint16
	First, Last int // channels, 1-512
	Value       int // 0-255
	What        string
}

// BurnIn is the programme to run before the season.
type BurnIn struct {
	Marks
	Hours     float64
	Between   Window
	Programme []Step
}

// Step is one step of the burn-in programme.
type Step struct {
	Marks
	Pattern  string
	Level    float64 // 0-1, default 1
	Duration time.Duration
}
