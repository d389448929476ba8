package budget

import (
	"cmp"
	"maps"
	"slices"
	"time"

	"yardproof/config"
)

// Chip is what a driver chip needs and draws. A zero field is not known: it
// depends on the part's wiring or no source was found, and the plan has to say.
type Chip struct {
	Name          string
	Wires         int           // data conductors: 1, or 2 with a clock; 0: no data line
	BitsPerSecond float64       // or the clock's rate
	BitsPerPixel  int           //
	Reset         time.Duration // the pause that latches a frame
	HasReset      bool          // a clocked chip needs none

	MinVolts, MaxVolts float64 // what its supply may be
	Load               config.LoadKind
	AmpsPerPixel       float64 // at full white, all channels
	IdleAmpsPerPixel   float64 // dark

	// LowestVolts is where colours begin to fade; with constant current the
	// current falls from there to nothing at ZeroVolts. By the supply's volts.
	Fade []Fade

	frameBits func(pixels int) int // of a clocked chip
	Source    string               // where the values are from; unmarked ones are read in the part's datasheet
}

// Fade is how a pixel made for a supply of some volts goes dark as they fall.
type Fade struct{ Volts, LowestVolts, ZeroVolts float64 }

// common practice, no source; WS2813 sheets say 0.2 to 0.6 mA, WS2815 about 2.
const idleAmps = 0.001

// One LED for each colour: sheets test at 4.5 V, and green and blue need 3.0 V
// forward (WS2812B datasheet). Three in series with a linear driver: about 10.4 V,
// the middle of an estimate of 9.8 to 11.0 V (derived from the same forward
// voltages), and nothing below three times 3.0 V. Those
// of 24 V are taken to have six in series, and so twice those volts (derived; makers
// differ: lowest_volts says better).
var (
	fade5  = Fade{5, 4.5, 3.0}
	fade12 = Fade{12, 10.4, 9.0}
	fade24 = Fade{24, 20.8, 18.0}
)

// chipTable returns the chips, in the worst case where revisions of one part
// differ. "Memory" marks a value written from knowledge of the part and not read
// in a datasheet.
func chipTable() map[string]Chip {
	const k, us = 1000.0, time.Microsecond
	list := []Chip{
		{Name: "ws2811", Wires: 1, BitsPerSecond: 800 * k, BitsPerPixel: 24, Reset: 280 * us, MinVolts: 4.5, MaxVolts: 26,
			Load: config.LoadCurrent, AmpsPerPixel: 0.0555, Fade: []Fade{fade5, fade12, fade24},
			Source: "WS2811 datasheet V1.4; 18.5 mA a channel: memory; sold for 5, 12 and 24 V: common practice; 400 kbit/s parts exist: set kilobits"},
		{Name: "ws2812b", Wires: 1, BitsPerSecond: 800 * k, BitsPerPixel: 24, Reset: 280 * us, MinVolts: 3.5, MaxVolts: 5.5,
			Load: config.LoadCurrent, AmpsPerPixel: 0.060, Fade: []Fade{fade5},
			Source: "WS2812B datasheet V1.0; 280 us (later revisions) and current: memory"},
		{Name: "ws2813", Wires: 1, BitsPerSecond: 800 * k, BitsPerPixel: 24, Reset: 300 * us, MinVolts: 3.5, MaxVolts: 5.5,
			Load: config.LoadCurrent, AmpsPerPixel: 0.054, IdleAmpsPerPixel: 0.0006, Fade: []Fade{fade5},
			Source: "WS2813 datasheet page 5, revisions A and B"},
		{Name: "ws2815", Wires: 1, BitsPerSecond: 800 * k, BitsPerPixel: 24, Reset: 300 * us, MinVolts: 9, MaxVolts: 13,
			Load: config.LoadCurrent, AmpsPerPixel: 0.045, IdleAmpsPerPixel: 0.002, Fade: []Fade{{12, 9, 0}},
			Source: "WS2815 datasheet listing; currents: memory"},
		{Name: "sk6812", Wires: 1, BitsPerSecond: 800 * k, BitsPerPixel: 24, Reset: 80 * us, MinVolts: 3.5, MaxVolts: 5.5,
			Load: config.LoadCurrent, AmpsPerPixel: 0.040, Fade: []Fade{fade5},
			Source: "SK6812 specification title (0.2 W); rest: memory"},
		{Name: "sk6812-rgbw", Wires: 1, BitsPerSecond: 800 * k, BitsPerPixel: 32, Reset: 80 * us, MinVolts: 3.5, MaxVolts: 5.5,
			Load: config.LoadCurrent, AmpsPerPixel: 0.050, Fade: []Fade{fade5},
			Source: "SK6812RGBX-XX rev 03 title (0.25 W); rest: memory"},
		{Name: "tm1803", Wires: 1, BitsPerSecond: 400 * k, BitsPerPixel: 24, Reset: 24 * us, MinVolts: 4.5, MaxVolts: 26,
			Load: config.LoadCurrent, Source: "memory; current set by resistors on the pixel"},
		{Name: "tm1809", Wires: 1, BitsPerSecond: 400 * k, BitsPerPixel: 24, Reset: 24 * us, MinVolts: 4.5, MaxVolts: 26,
			Load: config.LoadCurrent, Source: "TM1809 datasheet V1.4, the slower of its two rates; reset: memory; current set by resistors on the pixel"},
		{Name: "tm1814", Wires: 1, BitsPerSecond: 800 * k, BitsPerPixel: 32, Reset: 200 * us, MinVolts: 4.5, MaxVolts: 26,
			Load: config.LoadCurrent, Source: "published description of the TM1814 datasheet; rate and reset: memory; current is set by data, 6.5 to 38 mA a channel"},
		{Name: "tm1914a", Wires: 1, BitsPerSecond: 800 * k, BitsPerPixel: 24, MinVolts: 4.5, MaxVolts: 26,
			Load: config.LoadCurrent, AmpsPerPixel: 0.054, Source: "TM1914A datasheet V1.1; rate: memory; no reset time found"},
		{Name: "ucs1903n", Wires: 1, BitsPerSecond: 800 * k, BitsPerPixel: 24, Reset: 24 * us, MinVolts: 4.5, MaxVolts: 26,
			Load: config.LoadCurrent, AmpsPerPixel: 0.051, Fade: []Fade{fade5, fade12, fade24}, Source: "UCS1903N datasheet; reset: memory"},
		{Name: "ucs8904b", Wires: 1, BitsPerSecond: 800 * k, BitsPerPixel: 64, Reset: 48 * us, MinVolts: 4.5, MaxVolts: 30,
			Load: config.LoadCurrent, AmpsPerPixel: 0.068, Fade: []Fade{fade5, fade12, fade24}, Source: "UCS8904B datasheet summary"},
		{Name: "lpd6803", Wires: 2, BitsPerPixel: 16, HasReset: true, MinVolts: 3, MaxVolts: 8,
			Load: config.LoadCurrent, Source: "LPD6803 datasheet; its clock may be anything up to 24 MHz",
			frameBits: func(n int) int { return 32 + 16*n + n }},
		{Name: "lpd8806", Wires: 2, BitsPerSecond: 2e6, BitsPerPixel: 24, HasReset: true, MinVolts: 3.3, MaxVolts: 5.5,
			Load: config.LoadCurrent, AmpsPerPixel: 0.050, Fade: []Fade{fade5}, Source: "public LPD8806 descriptions; 2 MHz and latch: memory",
			frameBits: func(n int) int { return 24*n + 8*((n+31)/32) }},
		{Name: "apa102", Wires: 2, BitsPerSecond: 800 * k, BitsPerPixel: 32, HasReset: true, MinVolts: 4.5, MaxVolts: 5.5,
			Load: config.LoadCurrent, AmpsPerPixel: 0.060, Fade: []Fade{fade5}, Source: "APA102C sheet summaries, the slowest clock; end frame and current: memory",
			frameBits: func(n int) int { return 32 + 32*n + (n+1)/2 }},
		{Name: config.ChipNone, Source: "plain RGB: nothing is known that the plan does not say"},
	}
	table := make(map[string]Chip, len(list))
	for _, c := range list {
		if c.Wires > 0 {
			c.IdleAmpsPerPixel = cmp.Or(c.IdleAmpsPerPixel, idleAmps)
			c.HasReset = c.HasReset || c.Reset > 0
		}
		table[c.Name] = c
	}
	return table
}

// ChipUse is what the table says of a chip that a plan uses. Zero figures are not
// known.
type ChipUse struct {
	Name             string  `json:"name"`
	Kilobits         float64 `json:"kilobits,omitempty"` // a second, or of its clock
	Bits             int     `json:"bits,omitempty"`     // a pixel
	ResetUS          float64 `json:"reset_us,omitempty"`
	AmpsPerPixel     float64 `json:"amps_per_pixel,omitempty"`
	IdleAmpsPerPixel float64 `json:"idle_amps_per_pixel,omitempty"`
	Source           string  `json:"source"`
}

// uses lists the table's chips that the plan names, in its order.
func uses(p *config.Plan, table map[string]Chip) []ChipUse {
	var list []ChipUse
	seen := map[string]bool{}
	for _, s := range p.Strings {
		c, ok := table[s.Chip.Name]
		if !ok || seen[c.Name] {
			continue
		}
		seen[c.Name] = true
		list = append(list, ChipUse{
			Name: c.Name, Kilobits: c.BitsPerSecond / 1000, Bits: c.BitsPerPixel, ResetUS: float64(c.Reset) / 1000,
			AmpsPerPixel: c.AmpsPerPixel, IdleAmpsPerPixel: c.IdleAmpsPerPixel, Source: c.Source,
		})
	}
	return list
}

// Sources says where the figures that no chip's table row carries come from.
func Sources() []string {
	return []string{
		"Wire: gauge by ASTM B258, copper by IEC 60028 (0.017241 ohm mm² a metre at 20 °C), 0.393 % more for each degree (NBS Handbook 100, from memory); copper-clad aluminium 1.55 times copper (common practice, no source).",
		"Fuses carry 75 % of their rating for long (a fuse distributor's guide), and 0.2 % less of that for each degree above 25 °C (a fuse derating guide, from an excerpt).",
		"Supplies give 80 % of their rating for long (common practice, no source). Above 50 °C they give 2.5 % less for each degree (common practice, no source: no maker's curve could be read); where use: is set it is taken to be the leaflet's, heat and all.",
		"Wire that is hotter than 30 °C may carry less, by the root of what is left to the 75 °C that its insulation is taken to bear (NEC 310.15, from memory, unchecked; 75 °C: common practice, no source).",
		"Enclosures: an estimate, with a string's current shared evenly among its feeds. Walls give off 3.5 W a square metre and degree of plastic, 5.5 W of painted steel (an enclosure cooling page, from an excerpt; in the shade); what a supply loses is its output divided by its efficiency, less its output; a controller makes 10 W, a blade fuse drops 0.1 V at its rating, hotter than 70 °C is too hot (common practice, no source).",
		"Ethernet: IEEE 802.3 clauses 3 and 4, with preamble and gap; 70 % of a 100 Mb/s port is the ceiling (common practice, no source).",
		"Chips: \"memory\" marks what was written from knowledge of the part and not read in a datasheet. Measure one good string and set amps_per_pixel.",
		"A pixel draws 1 mA when dark where no sheet says otherwise; colours of 12 V pixels fade below some 10.4 V, of 5 V ones below 4.5 V (derived from forward voltages, WS2812B datasheet), of 24 V ones below some 20.8 V (derived, six LEDs in series).",
	}
}

// Chips returns the names of the chips of which something is known, in order.
func Chips() []string { return slices.Sorted(maps.Keys(chipTable())) }

// merge returns the table's chip with what the plan says in its place, and
// whether the table has it.
func merge(table map[string]Chip, s *config.String) (Chip, bool) {
	c, known := table[s.Chip.Name]
	c.Name = s.Chip.Name
	if !known {
		c.Wires = 1
	}
	c.BitsPerSecond = cmp.Or(s.Chip.BitsPerSecond, c.BitsPerSecond)
	c.BitsPerPixel = cmp.Or(s.Chip.BitsPerPixel, c.BitsPerPixel)
	if s.Chip.Reset > 0 {
		c.Reset, c.HasReset = s.Chip.Reset, true
	}
	c.Load = cmp.Or(s.Load, c.Load)
	c.AmpsPerPixel = cmp.Or(s.AmpsPerPixel, c.AmpsPerPixel)
	if s.IdleAmpsPerPixel >= 0 {
		c.IdleAmpsPerPixel = s.IdleAmpsPerPixel
	}
	return c, known
}

// fade returns how the pixel of a string goes dark; LowestVolts 0: not known.
func (c Chip) fade(s *config.String) Fade {
	f := Fade{Volts: s.Volts}
	for _, known := range c.Fade {
		if s.Volts > 0.8*known.Volts && s.Volts < 1.2*known.Volts {
			f = known
		}
	}
	f.LowestVolts = cmp.Or(s.Chip.DropoutVolts, f.LowestVolts)
	if f.ZeroVolts >= f.LowestVolts {
		f.ZeroVolts = 0 // the plan's own figure contradicts the table's: not known
	}
	return f
}

// Cautions stand wherever the program speaks of supplies, fuses and wire. They are
// common practice; where a rule has a number, the local code has the say.
func Cautions() []string {
	return []string{
		"Local codes prevail: where they differ from this page, follow them.",
		"Mains wiring is for licensed people. Outdoor outlets belong behind an RCD (GFCI).",
		"Switch off, isolate and prove dead before touching; supplies hold their charge for a while.",
		"A DC-rated fuse at the start of every feed, sized for its wire. A level cap in software protects nothing.",
		"Check polarity and volts before connecting. Never join the V+ of two supplies; keep the returns common.",
	}
}
