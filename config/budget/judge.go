package budget

import (
	"cmp"
	"fmt"
	"math"
	"sort"
	"strings"

	"yardproof/config"
)

// LongestDataLead is the longest wire from a port to the first pixel that needs no booster,
// in metres: longer ones are the first cause of flicker (common practice, no source).
const LongestDataLead = 6

type judge struct {
	b *Budget
	p *config.Plan
}

func (j judge) add(severity config.Severity, at config.Mark, fix, format string, args ...any) {
	j.b.Problems = append(j.b.Problems, config.Problem{
		Severity: severity, Where: j.p.Where(at), What: fmt.Sprintf(format, args...), Fix: fix,
	})
}

func (j judge) note(at config.Mark, format string, args ...any) {
	j.b.Notes = append(j.b.Notes, Note{Where: j.p.Where(at), What: fmt.Sprintf(format, args...)})
}

// judge finds what is wrong. Known: by string, whether its chip is in the table.
func (b *Budget) judge(known []bool) {
	j := judge{b, b.plan}
	for i, s := range b.plan.Strings {
		j.chip(s, &b.Strings[i], known[i])
		j.rails(s)
		j.feeds(s, &b.Strings[i])
		j.volts(s, &b.Strings[i])
		if s.DataLead > LongestDataLead {
			j.add(config.Warning, s.At("data_lead"), "put a booster or a null pixel in the lead, or move the controller",
				"string %s: a data lead of %g m is over %d m, the first cause of flicker", s.Name, s.DataLead, LongestDataLead)
		}
	}
	j.feeders()
	j.supplies()
	j.enclosures()
	j.ports()
	j.network()
}

func (j judge) chip(s *config.String, r *String, known bool) {
	named := cmp.Or(s.Chip.At("name"), s.At("chip"))
	if !known {
		if s.Chip.BitsPerSecond > 0 && s.Chip.BitsPerPixel > 0 {
			j.note(named, "string %s: nothing is known of chip %s but what the plan says", s.Name, s.Chip.Name)
		} else {
			j.add(config.Warning, named, "correct the name, or "+j.p.Ask("kilobits", "bits", "reset_us")+"; known are "+strings.Join(Chips(), ", "),
				"string %s: nothing is known of chip %s", s.Name, s.Chip.Name)
		}
	}
	c := r.Chip
	if s.Volts > 0 && c.MaxVolts > 0 && (s.Volts > c.MaxVolts || s.Volts < c.MinVolts) {
		at := s.At("volts")
		if !s.Has("volts") {
			at = s.At("supply")
		}
		j.add(config.Error, at, "correct the volts, the supply or the chip",
			"string %s: %s works from %g to %g V, not at %g V", s.Name, c.Name, c.MinVolts, c.MaxVolts, s.Volts)
	}
	j.overVolts(s, c)
	if r.LowestVoltsPixel > 0 && r.WorkingVolts == 0 {
		j.note(named, "string %s: at how many volts its colours fade is not known: write chip: {name: %s, lowest_volts: ...}", s.Name, c.Name)
	}
	if r.FullWhiteAmps == 0 {
		j.note(s.At("amps_per_pixel"), "string %s: its current is not known: %s", s.Name, j.p.Ask("amps_per_pixel"))
	} else if !r.solved && s.Pitch.Known() {
		j.note(s.At("pitch"), "string %s: its wires' resistances are too far apart to be worked out, or its volts are not known", s.Name)
	} else if !r.solved {
		j.note(s.At("pitch"), "string %s: how its feeds share its current is not known: %s", s.Name, j.p.Ask("pitch"))
	} else if !s.Pitch.Known() && LinePixels(s) > 1 {
		j.note(s.At("pitch"), "string %s: the volts along it are not known: %s", s.Name, j.p.Ask("pitch"))
	}
	derived := s.WhiteDerived && len(s.Order) == 3 // the port adds the fourth
	if bits := channelBits(c); bits > 0 && s.Pixels > 0 && bits != len(s.Order) && !(derived && bits == 4) {
		j.add(config.Warning, s.At("order"), "correct the order or the chip",
			"string %s: order %s has %d channels, a %s pixel has %d", s.Name, s.Order, len(s.Order), c.Name, bits)
	}
}

// Pixels and supplies are sold for these volts, and a supply's trimmer gives some 10 %
// more or less (common practice, no source).
func nominalVolts() []float64 { return []float64{5, 12, 24, 36, 48} }

const trim = 0.1

// overVolts warns of a supply that gives more than the pixels can be made for, where the
// plan says nothing of the pixels.
func (j judge) overVolts(s *config.String, c Chip) {
	if s.Has("volts") || c.MaxVolts > 0 && s.Volts > c.MaxVolts {
		return
	}
	nominal := 0.0
	for _, v := range nominalVolts() {
		if s.Volts >= v*(1-trim) {
			nominal = v
		}
	}
	if nominal == 0 || s.Volts <= nominal*(1+trim) {
		return
	}
	j.add(config.Warning, s.At("supply"), fmt.Sprintf("set the supply to %g V, or write volts: with what the pixels are made for", nominal),
		"string %s: its supply gives %g V, %.0f %% more than pixels of %g V are made for; they get too hot", s.Name, s.Volts, 100*(s.Volts/nominal-1), nominal)
}

// channelBits is how many channels a pixel has on the wire; 0: not certain. Two
// wires' frames carry more than channels.
func channelBits(c Chip) int {
	if c.Wires != 1 {
		return 0
	}
	switch c.BitsPerPixel {
	case 24:
		return 3
	case 32, 64:
		return 4
	}
	return 0
}

// rails looks for feeds of two supplies on one piece of V+, and for pieces
// without a feed.
func (j judge) rails(s *config.String) {
	if len(s.Feeds) < 2 && len(s.CutPositiveAfter) == 0 {
		return
	}
	l := &ladder{}
	l.build(s, j.p.Temperature, 1, plain())
	if l.pieces() {
		j.add(config.Error, s.At("cut_positive_after"), "feed every piece, or take the cut out",
			"string %s: a piece between two cuts of V+ has no feed", s.Name)
	}
	if n := len(s.Feeds); n > manyFeeds {
		j.add(config.Error, s.At("feeds"), "split the string where two feeds meet",
			"string %s has %d feeds; up to %d are worked out", s.Name, n, manyFeeds)
	}
	first := map[int]*config.Feed{}
	for i, f := range s.Feeds {
		supply := f.Supply
		if supply == nil || i >= len(l.terms) {
			continue
		}
		n := l.piece(l.terms[i])
		other, ok := first[n]
		if !ok {
			first[n] = f
			continue
		}
		if other.Supply != supply {
			j.add(config.Error, f.Marks.At("supply"), "cut V+ between them with cut_positive_after, and leave the return whole",
				"string %s: the feeds at %s and %s join supplies %s and %s on one V+", s.Name, other.At, f.At, other.Supply.Name, supply.Name)
		}
	}
}

// feeds compares fuses with wires and currents.
func (j judge) feeds(s *config.String, r *String) {
	for i, f := range s.Feeds {
		feed := &r.Feeds[i]
		at := f.Marks.At("fuse_amps")
		if f.FuseAmps <= 0 {
			if f.Feeder == nil || f.Feeder.FuseAmps <= 0 {
				j.note(at, "string %s: the fuse of its feed at %s is not known: level allowed: %.0f %%", s.Name, f.At, 100*unknownLevel)
			}
			continue
		}
		j.fuse(at, fmt.Sprintf("string %s, feed at %s", s.Name, f.At), f.FuseAmps, j.behind(s, f))
		switch {
		case !feed.known || math.Abs(feed.FullWhiteAmps) <= f.FuseAmps:
		case feed.FullWhiteAmps < 0:
			j.add(config.Warning, at, "use thicker wire for the feeder, or take this feed off it",
				"string %s: at full white of all strings %.2f A through the %g A fuse at %s run the other way, back into feeder %s", s.Name, -feed.FullWhiteAmps, f.FuseAmps, f.At, feed.From)
		default:
			j.add(config.Warning, at, "add a feed; a level limit in software does not save this fuse, since a noisy data line can light everything",
				"string %s: full white takes %.2f A through the %g A fuse at %s", s.Name, feed.FullWhiteAmps, f.FuseAmps, f.At)
		}
	}
}

// behind lists the wires that a feed's fuse protects.
func (j judge) behind(s *config.String, f *config.Feed) []placed {
	hangs := config.Celsius(s.Temperature, j.p.Temperature)
	wires := []placed{{f.Wire, j.b.feedCelsius(s, f)}, {s.Pitch, hangs}}
	for _, jumper := range s.Jumpers {
		wires = append(wires, placed{jumper.Wire, hangs})
	}
	return wires
}

// A placed wire is one with the temperature of its place.
type placed struct {
	config.Wire
	celsius float64
}

// fuse compares a fuse with the thinnest wire behind it: past the standard's figure it is
// an error, past what heat leaves of it a warning.
func (j judge) fuse(at config.Mark, who string, amps float64, wires []placed) {
	least, cool, why := 0.0, 0.0, ""
	for _, w := range wires {
		if may, basis := AmpacityAt(w.Wire, w.celsius); may > 0 && (least == 0 || may < least) {
			least, why = may, fmt.Sprintf("%s may have %.3g A (%s)", w, may, basis)
		}
		if may, _ := Ampacity(w.Wire); may > 0 && (cool == 0 || may < cool) {
			cool = may
		}
	}
	// Fuses come in steps, and gauges in AWG and mm² do not meet exactly.
	severity := config.Warning
	if amps > cool*1.05 {
		severity = config.Error
	}
	if least > 0 && amps > least*1.05 {
		j.add(severity, at, fmt.Sprintf("fit a fuse of %.3g A at most, or thicker wire; local codes prevail", least),
			"%s: a fuse of %g A does not protect its wire: %s", who, amps, why)
	}
}

func (j judge) volts(s *config.String, r *String) {
	at := s.At("pitch")
	if a := r.ChipAware; a != nil && a.Collapse {
		j.add(config.Warning, at, "use thicker wire or more feeds",
			"string %s: above %.0f %% its pixels cannot get their power and the volts collapse", s.Name, a.CollapsePercent)
		return
	}
	if r.Starved {
		j.add(config.Warning, at, "use thicker wire or more feeds, or correct amps_per_pixel",
			"string %s: its wire cannot bring %.4g A at full white: nothing is left of the volts at pixel %d", s.Name, r.FullWhiteAmps, r.LowestVoltsPixel)
		return
	}
	if r.WorkingVolts > 0 && r.LowestVoltsPixel > 0 && r.LowestVolts < r.WorkingVolts {
		fix := "use thicker wire, or feed it in one more place"
		if x := r.OneMoreFeed; x != nil {
			fix = fmt.Sprintf("one more feed helps most at pixel %d: %.2f V", x.At, x.LowestVolts)
		}
		j.add(config.Warning, at, fix, "string %s: pixel %d has %.2f V at full white and fades below %.4g V; up to %.0f %% it has enough",
			s.Name, r.LowestVoltsPixel, r.LowestVolts, r.WorkingVolts, r.WorkingLevelPercent)
	}
}

func (j judge) feeders() {
	unfused := map[*config.Feeder][]placed{} // what only the feeder's fuse protects
	for _, s := range j.p.Strings {
		for _, f := range s.Feeds {
			if f.Feeder != nil && f.FuseAmps <= 0 {
				unfused[f.Feeder] = append(unfused[f.Feeder], j.behind(s, f)...)
			}
		}
	}
	for i, f := range j.p.Feeders {
		r := &j.b.Feeders[i]
		at := f.At("fuse_amps")
		if f.FuseAmps <= 0 {
			continue
		}
		j.fuse(at, "feeder "+f.Name, f.FuseAmps, append(unfused[f], placed{f.Wire, config.Celsius(f.Temperature, j.p.Temperature)}))
		if r.FullWhiteAmps > f.FuseAmps {
			j.add(config.Warning, at, "give some strings another feeder", "feeder %s: full white takes %.2f A through its %g A fuse", f.Name, r.FullWhiteAmps, f.FuseAmps)
		}
	}
}

func (j judge) supplies() {
	for i, s := range j.p.Supplies {
		r := &j.b.Supplies[i]
		if r.LimitAmps > 0 && r.FullWhiteAmps > r.LimitAmps*(1+1e-9) {
			fix, heat := "move strings to another supply; until then the level is capped", ""
			if cool := s.Watts / s.Volts * s.ContinuousShare; r.LimitAmps < cool*(1-1e-9) {
				heat = fmt.Sprintf(", since it is at %.3g °C; at %d °C or less it may give %.1f A", j.b.supplyCelsius(s), supplyRatedAt, cool)
				where := "its place"
				if s.Enclosure != nil {
					where = "enclosure " + s.Enclosure.Name
				}
				fix = "make " + where + " cooler, or " + fix
			}
			j.add(config.Warning, s.At("watts"), fix,
				"supply %s: full white of everything on it takes %.1f A, it may give %.1f A for long%s", s.Name, r.FullWhiteAmps, r.LimitAmps, heat)
		}
		if hot := j.hottest(s); hot > fuseRatedAt && !s.Has("use") && s.Enclosure == nil {
			j.note(s.At("watts"), "supply %s: the heat of the box that it is in is not reckoned with, and what it feeds is at %.3g °C: name it in enclosures, or set use: from its leaflet", s.Name, hot)
		}
		if s.Watts <= 0 {
			j.note(s.At("watts"), "supply %s: its watts are not known: level allowed for what hangs on it: %.0f %%", s.Name, 100*unknownLevel)
		}
	}
	for i, c := range j.p.Controllers {
		r := &j.b.Controllers[i]
		if r.LimitAmps > 0 && r.FullWhiteAmps > r.LimitAmps {
			j.add(config.Warning, c.At("max_amps"), "feed strings past the controller; until then the level is capped",
				"controller %s: full white takes %.1f A through its power input, which may carry %g A", c.Name, r.FullWhiteAmps, r.LimitAmps)
		}
	}
}

// hottest is the highest temperature among the feeds of a supply.
func (j judge) hottest(supply *config.Supply) float64 {
	hot := j.p.Temperature
	for _, s := range j.p.Strings {
		for _, f := range s.Feeds {
			if f.Supply == supply {
				hot = max(hot, j.b.feedCelsius(s, f))
			}
		}
	}
	return hot
}

func (j judge) ports() {
	rate := j.p.Network.Rate
	for i := range j.b.Ports {
		p := &j.b.Ports[i]
		first := j.p.Strings[p.Strings[0]]
		at := first.At("pixels")
		j.oneKind(p)
		if p.Refresh == 0 {
			j.note(at, "port %s of controller %s: how long a frame takes is not known: set the chip's kilobits, bits and reset_us", p.Port, p.Controller)
		}
		if !p.fits(rate) {
			j.add(config.Warning, at, fmt.Sprintf("put no more than %d pixels on it, or let it run slower: nothing breaks", j.b.mostPixels(p, rate)),
				"port %s of controller %s: a frame of %d pixels takes %.2f ms, so it shows %.1f frames a second, not %g", p.Port, p.Controller, p.Pixels, p.RefreshMS, p.MaxRateHz, rate)
		}
		if most := first.Controller.MaxPixelsPerPort; most > 0 && p.Pixels > most {
			j.add(config.Error, at, "move a string to another port",
				"port %s of controller %s: %d pixels, it drives %d", p.Port, p.Controller, p.Pixels, most)
		}
	}
}

// oneKind warns of a string whose chip does not understand what the first chip on
// its data line does (common practice, no source: a port has one setting).
func (j judge) oneKind(p *Port) {
	first := j.b.Strings[p.Strings[0]].Chip
	for _, n := range p.Strings[1:] {
		c, s := j.b.Strings[n].Chip, j.p.Strings[n]
		if c.Wires == first.Wires && c.BitsPerSecond == first.BitsPerSecond && c.BitsPerPixel == first.BitsPerPixel {
			continue
		}
		j.add(config.Warning, s.At("chip"), "give it a port of its own, or correct the chip",
			"string %s: its chip takes %d bits a pixel at %g kbit/s, that of %s on the same port %d at %g",
			s.Name, c.BitsPerPixel, c.BitsPerSecond/1000, j.p.Strings[p.Strings[0]].Name, first.BitsPerPixel, first.BitsPerSecond/1000)
	}
}

// mostPixels is how many pixels of the port's first chip fit into a frame.
func (b *Budget) mostPixels(p *Port, rate float64) int {
	c := b.Strings[p.Strings[0]].Chip
	return sort.Search(p.Pixels, func(n int) bool {
		t, ok := c.frameTime(n + 1)
		return !ok || float64(t+c.Reset) > 1e9/rate*(1+1e-12)
	})
}

func (j judge) network() {
	n := &j.b.Network
	for i, c := range j.p.Controllers {
		l := n.Controllers[i]
		if l.BitsPerSecond > busyShare*fastEthernet {
			j.add(config.Warning, c.At("address"), "spread its universes over more controllers, or set slots: used",
				"controller %s: %.1f Mb/s for %d universes is over %.0f %% of a 100 Mb/s port", c.Name, l.BitsPerSecond/1e6, l.Universes, 100*busyShare)
		}
	}
	if m := n.Multicast; m.BitsPerSecond > busyShare*fastEthernet {
		j.add(config.Warning, j.p.Network.At("interface"), "use unicast, or a switch with IGMP snooping and a querier",
			"%.1f Mb/s of multicast is over %.0f %% of a 100 Mb/s port, and a switch without snooping sends it to every port", m.BitsPerSecond/1e6, 100*busyShare)
	}
}
