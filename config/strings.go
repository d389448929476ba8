package config

import (
	"fmt"
	"strconv"
	"strings"
	"time"
)

func (d *decoder) strings(nodes []node) {
	d.plan.Strings = make([]*String, 0, len(nodes))
	names := make(map[string]*String, len(nodes))
	labels := make(map[string]*String)
	for n := range d.each(nodes) {
		s := &String{Index: len(d.plan.Strings)}
		sec, name := named(d, n, "string", &s.Marks, names)
		if sec == nil {
			continue
		}
		s.Name = name
		d.string(sec, s)
		d.plan.Strings = append(d.plan.Strings, s)
		if _, double := names[name]; !double {
			names[name] = s
		}
		if s.Label != "" {
			if other := labels[s.Label]; other != nil {
				d.errorf(s.At("label"), "each physical string has a tag of its own", "%s: label %q is on string %s too", sec.who, s.Label, other.Name)
			}
			labels[s.Label] = s
		}
	}
}

func (d *decoder) string(sec *section, s *String) {
	s.Label = sec.text("label", "")
	s.Controller = refer(sec, "controller", d.controllers)
	s.Port = sec.text("port", "")
	s.Receiver = sec.text("receiver", "")
	s.Output = sec.text("output", "")
	s.Universe = sec.whole("universe", 0, MinUniverse, MaxUniverse, "")
	s.Channel = sec.whole("channel", 1, 1, Slots, "")
	s.Pixels = sec.whole("pixels", 0, 1, MaxStringPixels, "pixels")
	s.NullPixels = sec.whole("null_pixels", 0, 0, 1000, "pixels")
	for _, key := range []string{"universe", "pixels"} {
		if sec.n.find(key) == nil {
			d.errorf(sec.n.at, "add it", "%s: %s is missing", sec.who, key)
		}
	}
	if s.Order = sec.order("order"); s.Order == "" {
		s.Order = "RGB"
	}
	d.chip(sec, &s.Chip)

	supply := refer(sec, "supply", d.supplies)
	fuse := sec.positive("fuse_amps", 0, 1000, "A")
	fuseUse := sec.share("fuse_use", DefaultFuseUse)
	s.Volts = sec.positive("volts", 0, 60, "V")
	s.Load = LoadKind(sec.word("load", "", string(LoadCurrent), string(LoadResistor), string(LoadPower)))
	s.AmpsPerPixel = sec.positive("amps_per_pixel", 0, 100, "A at full white")
	s.IdleAmpsPerPixel = sec.number("idle_amps_per_pixel", -1, 0, 10, "A when dark")
	s.DataLead = sec.number("data_lead", 0, 0, 1000, "metres")
	d.wiring(sec, s)
	d.feeds(sec, s, supply, fuse, fuseUse)
	d.portSettings(sec, s)
	sec.end()
	d.checkVolts(sec, s)
}

// order reads a permutation of RGB or of RGBW; "" when it was left out.
func (s *section) order(key string) Order {
	n := s.getScalar(key)
	if n == nil {
		return ""
	}
	text := strings.ToUpper(n.text)
	letters := map[int]string{3: "RGB", 4: "RGBW"}[len(text)]
	for _, l := range letters {
		if strings.Count(text, string(l)) != 1 {
			letters = ""
		}
	}
	if letters == "" {
		s.d.errorf(n.at, "write the letters R G B, or R G B W, each once", "%s: %s cannot be %s", s.who, key, quote(n.text))
		return ""
	}
	return Order(text)
}

// chip reads a chip as a word, or as a mapping with what the plan knows better.
func (d *decoder) chip(sec *section, c *Chip) {
	c.Name, c.Marks.self = DefaultChip, sec.n.at
	n := sec.get("chip")
	if n == nil {
		return
	}
	if n.kind == scalar {
		c.Name, c.Marks.self = strings.ToLower(sec.text("chip", DefaultChip)), n.at
		return
	}
	s := d.section(n, sec.who+": chip", &c.Marks)
	if s == nil {
		return
	}
	c.Name = strings.ToLower(s.text("name", DefaultChip))
	c.BitsPerSecond = 1000 * s.positive("kilobits", 0, 1e6, "kilobits a second")
	c.BitsPerPixel = s.whole("bits", 0, 1, 1024, "for each pixel")
	c.Reset = time.Duration(s.positive("reset_us", 0, 1e6, "microseconds") * float64(time.Microsecond))
	c.DropoutVolts = s.positive("lowest_volts", 0, 60, "V")
	s.end()
}

// wiring reads what lies between the pixels.
func (d *decoder) wiring(sec *section, s *String) {
	if n := sec.get("pitch"); n != nil {
		var marks Marks
		if w := d.section(n, sec.who+": pitch", &marks); w != nil {
			s.Pitch = w.wire(Wire{}, pitchWire)
			w.end()
		}
	}
	for n := range d.each(sec.list("jumpers")) {
		var j Jumper
		w := d.section(n, sec.who+": jumper", &j.Marks)
		if w == nil {
			continue
		}
		j.After = w.whole("after", 0, 1, max(s.Pixels-1, 1), "(a pixel with one after it)")
		if n.find("after") == nil {
			d.errorf(n.at, "add after: with the pixel before the jumper", "%s has no place", w.who)
		}
		j.Wire = w.wire(s.Pitch, jumperWire)
		w.end()
		s.Jumpers = append(s.Jumpers, j)
	}
	const key = "cut_positive_after"
	n := sec.get(key)
	if n == nil {
		return
	}
	cuts := []node{*n}
	if n.kind == list {
		cuts = n.items
	}
	for c := range d.each(cuts) {
		if after := sec.wholeOf(c, key, 0, 1, max(s.Pixels-1, 1), "(a pixel with one after it)"); after > 0 {
			s.CutPositiveAfter = append(s.CutPositiveAfter, after)
		}
	}
}

// feeds reads where power enters. A string without feeds has one at its start.
func (d *decoder) feeds(sec *section, s *String, supply *Supply, fuse, fuseUse float64) {
	items := sec.list("feeds")
	taken := make(map[int]bool, len(items))
	for n := range d.each(items) {
		f := &Feed{}
		w := d.section(n, fmt.Sprintf("%s: feed %d", sec.who, len(s.Feeds)+1), &f.Marks)
		if w == nil {
			continue
		}
		f.At = w.text("at", "start")
		f.Address = d.feedAddress(w, s, f.At)
		f.Feeder = refer(w, "from", d.feeders)
		f.Supply = refer(w, "supply", d.supplies)
		if f.Supply == nil && w.n.find("supply") == nil {
			f.Supply = supply
		}
		if f.Feeder != nil {
			if w.n.find("supply") != nil && f.Supply != f.Feeder.Supply {
				d.errorf(f.Marks.At("supply"), "leave it out", "%s: supply is not that of feeder %s", w.who, f.Feeder.Name)
			}
			f.Supply = f.Feeder.Supply
		}
		f.Wire = w.wire(Wire{}, leadWire)
		f.FuseAmps = w.positive("fuse_amps", fuse, 1000, "A")
		f.FuseContinuousShare = w.share("fuse_use", fuseUse)
		w.end()
		if f.Address == 0 {
			continue
		}
		if taken[f.Address] {
			d.errorf(f.Marks.At("at"), "feed each pixel once", "%s: another feed is at the same pixel", w.who)
		}
		taken[f.Address] = true
		s.Feeds = append(s.Feeds, f)
	}
	if len(s.Feeds) == 0 {
		f := &Feed{Address: 1, At: "start", Supply: supply, Wire: Wire{Metal: Copper}, FuseAmps: fuse, FuseContinuousShare: fuseUse}
		f.Marks = s.Marks
		s.Feeds = []*Feed{f}
	}
}

// feedAddress turns start, end or a pixel number into an address on the data
// line; 0 means that there is none.
func (d *decoder) feedAddress(w *section, s *String, at string) int {
	last := s.NullPixels + max(s.Pixels, 1)
	switch at {
	case "start":
		return 1
	case "end":
		return last
	}
	pixel, err := strconv.Atoi(at)
	place := w.n.find("at").at
	switch {
	case err != nil:
		d.errorf(place, "write start, end or a pixel number", "%s: at cannot be %s", w.who, quote(at))
	case pixel < 1:
		d.errorf(place, "count lit pixels from 1, or write start", "%s: at cannot be %d", w.who, pixel)
	case pixel > s.Pixels && s.Pixels > 0:
		d.errorf(place, fmt.Sprintf("write end, or a number up to %d", s.Pixels), "%s: pixel %d is past the last one", w.who, pixel)
	default:
		return s.NullPixels + pixel
	}
	return 0
}

// portSettings reads what the controller's port does to what it is sent.
func (d *decoder) portSettings(sec *section, s *String) {
	s.PortOrder = sec.order("port_order")
	s.Brightness = sec.share("dimmed", 1)
	s.Gamma = sec.number("gamma", 1, 0.1, 5, "")
	s.Copies = sec.whole("copies", 1, 1, 1000, "pixels for each address")
	s.Fold = sec.whole("fold", 0, 0, MaxStringPixels, "pixels (0: none)")
	s.Flow = Flow(sec.word("flow", string(Forward), string(Backward)))
	s.WhiteDerived = sec.word("white", "sent", "derived") == "derived"
	s.NullsByPlan = sec.word("nulls_by", "controller", "plan") == "plan"
	if s.PortOrder != "" && len(s.PortOrder) != len(s.Order) && !s.WhiteDerived {
		d.errorf(s.At("port_order"), "give both the same letters, or set white: derived", "%s: port_order has %d channels, order has %d", sec.who, len(s.PortOrder), len(s.Order))
	}
}

// checkVolts settles the string's volts, and that its supplies give them.
func (d *decoder) checkVolts(sec *section, s *String) {
	for _, f := range s.Feeds {
		switch {
		case f.Supply == nil || f.Supply.Volts == 0:
		case s.Volts == 0:
			s.Volts = f.Supply.Volts
		case s.Volts != f.Supply.Volts:
			d.errorf(f.Marks.At("supply"), "use a supply of the string's volts, or correct volts:",
				"%s is for %s, supply %s gives %s", sec.who, amount(s.Volts, "V"), f.Supply.Name, amount(f.Supply.Volts, "V"))
		}
	}
}
