package config

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"yardproof/sacn"
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
		d.string(sec, s, names)
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

func (d *decoder) string(sec *section, s *String, above map[string]*String) {
	s.Label = sec.text("label", "on the tag of the physical string; each its own", "")
	s.Controller = refer(sec, "controller", "the controller that drives it", d.controllers)
	s.Port = sec.text("port", "port of the controller", "")
	if n, err := strconv.Atoi(s.Port); err == nil && s.Controller != nil && s.Controller.Ports > 0 && (n < 1 || n > s.Controller.Ports) {
		d.warnf(s.At("port"), "correct the port, or ports: of the controller", "%s: controller %s has no port %d, its ports are 1 to %d", sec.who, s.Controller.Name, n, s.Controller.Ports)
	}
	s.Receiver = sec.text("receiver", "number of the remote receiver on that port, if there is one", "")
	s.Output = sec.text("output", "output of the receiver", "")
	s.After = refer(sec, "after", "the string on the same port through which its data comes", above)
	s.Universe = sec.universe("universe", "universe of its first channel", sacn.MinUniverse)
	s.Channel = sec.whole("channel", "its first channel in that universe", 1, 1, sacn.MaxSlots, bare)
	s.Pixels = sec.whole("pixels", "number of lit pixels; null pixels are not counted", 0, 1, MaxStringPixels, pixelCount)
	s.NullPixels = sec.whole("null_pixels", "dark pixels ahead of the first lit one, such as a repeater", 0, 0, 1000, pixelCount)
	sec.require("add it", "universe", "pixels")
	if s.Order = sec.order("order", "order of the colours in the data that is sent", "RGB"); s.Order == "" {
		s.Order = "RGB"
	}
	d.chip(sec, &s.Chip)

	supply := refer(sec, "supply", "supply of every feed that names no other", d.supplies)
	fuse, fuseUse := sec.fuse(0, defaultFuseUse)
	s.Volts = sec.positive("volts", "volts it is made for; by default its supply's", 0, 60, volts)
	s.Load = LoadKind(sec.word("load", "how its current follows the volts: current is constant, power is a regulator in each pixel; by default the chip's", "", string(LoadCurrent), string(LoadResistor), string(LoadPower)))
	s.AmpsPerPixel = sec.positive("amps_per_pixel", "current of one pixel at full white, measured or from its leaflet", 0, 100, amperes)
	s.IdleAmpsPerPixel = sec.number("idle_amps_per_pixel", "current of one pixel when it is dark", -1, 0, 10, amperes)
	s.DataLead = sec.number("data_lead", "length of the data wire from the port to the first pixel", 0, 0, 1000, anyLength)
	d.wiring(sec, s)
	s.ConnectorAmps = sec.connector(0)
	s.Temperature = sec.temperature("temperature where it hangs, of its wire and of the fuses that give none; by default the plan's")
	d.feeds(sec, s, supply, fuse, fuseUse)
	s.FeedPoints = sec.joints("feed_points", "pixels after which power can be cut in, besides the ends and the jumpers; without them at any pixel", s)
	s.Spot = sec.spot("at", "where its first pixel is: metres along the route, or [x, y] in metres")
	s.EndSpot = sec.spot("to", "where its last pixel is, likewise")
	d.portSettings(sec, s)
	sec.end()
	d.checkVolts(sec, s)
}

// order reads a permutation of RGB or of RGBW; "" when it was left out.
func (s *section) order(key, does, otherwise string) Order {
	n := s.get(Key{Name: key, Does: does, Kind: KeyText, Default: otherwise, Pattern: "^[RGBWrgbw]{3,4}$"})
	if n == nil {
		return ""
	}
	order, ok := parseOrder(n.text)
	if !ok {
		s.d.errorf(n.at, orderAdvice, "%s: %s cannot be %s", s.who, key, quote(n.text))
	}
	return order
}

const orderAdvice = "write the letters R G B, or R G B W, each once"

func parseOrder(text string) (Order, bool) {
	text = strings.ToUpper(text)
	letters := map[int]string{3: "RGB", 4: "RGBW"}[len(text)]
	for _, l := range letters {
		if strings.Count(text, string(l)) != 1 {
			letters = ""
		}
	}
	if letters == "" {
		return "", false
	}
	return Order(text), true
}

// chip reads a chip as a word, or as a mapping with what the plan knows better.
func (d *decoder) chip(sec *section, c *Chip) {
	c.Name, c.Marks.self = defaultChip, sec.n.at
	const does = "the pixel driver chip, or what the plan knows better of it; none for plain RGB without data"
	n := sec.n.find("chip")
	if n == nil || n.kind != mapping {
		c.Name = strings.ToLower(sec.text("chip", does, defaultChip))
		if n != nil {
			c.Marks.self = n.at
		}
		if sec.key == nil {
			return
		}
		n = &sec.describe()[0]
	} else {
		sec.declare(Key{Name: "chip", Does: does, Kind: KeyText})
	}
	s := d.section(n, sec.who+": chip", &c.Marks)
	c.Name = strings.ToLower(s.text("name", "name of the chip", defaultChip))
	c.BitsPerSecond = 1000 * s.positive("kilobits", "speed of its data", 0, 1e6, kilobits)
	c.BitsPerPixel = s.whole("bits", "bits of data for each pixel", 0, 1, 1024, unit{name: "for each pixel"})
	c.Reset = time.Duration(s.positive("reset_us", "pause that ends a frame", 0, 1e6, microseconds) * float64(time.Microsecond))
	c.DropoutVolts = s.positive("lowest_volts", "volts below which it does not work", 0, 60, volts)
	s.end()
}

// wiring reads what lies between the pixels.
func (d *decoder) wiring(sec *section, s *String) {
	var marks Marks
	if w := sec.sub("pitch", "the wire from one pixel to the next", sec.who+": pitch", &marks); w != nil {
		s.Pitch = w.wire(Wire{}, pitchWire)
		w.end()
	}
	for w, marks := range d.sections(sec.list("jumpers", "longer wires between two pixels"), sec.who+": jumper") {
		j := Jumper{Marks: marks}
		j.After = w.whole("after", "the pixel before it", 0, 1, s.lastJoint(), joint)
		w.require("add it: the pixel before the jumper", "after")
		j.Wire = w.wire(s.Pitch, jumperWire)
		w.end()
		s.Jumpers = append(s.Jumpers, j)
	}
	s.CutPositiveAfter = sec.joints("cut_positive_after", "pixels after which V+ is cut, since another supply goes on from there", s)
}

// joints reads pixels that have one after them, one or a list.
func (sec *section) joints(key, does string, s *String) []int {
	sec.declare(Key{Name: key, Does: does, Kind: KeyWhole, Lo: 1, Hi: MaxStringPixels - 1, OrList: true})
	n := sec.n.find(key)
	if n == nil {
		return nil
	}
	var pixels []int
	for c := range sec.d.each(n.oneOrMore()) {
		if after := sec.wholeOf(c, key, 0, 1, s.lastJoint(), joint); after > 0 {
			pixels = append(pixels, after)
		}
	}
	return pixels
}

// joint counts pixels that have one after them; lastJoint is the last of those.
var joint = unit{name: "(a pixel with one after it)"}

func (s *String) lastJoint() int {
	if s.Pixels == 0 { // not known
		return MaxStringPixels - 1
	}
	return max(s.Pixels-1, 1)
}

// feeds reads where power enters. A string without feeds has one at its start.
func (d *decoder) feeds(sec *section, s *String, supply *Supply, fuse, fuseUse float64) {
	items := sec.list("feeds", "where power enters; without them at the start alone")
	taken := make(map[int]bool, len(items))
	for n := range d.each(items) {
		f := &Feed{}
		w := d.section(n, fmt.Sprintf("%s: feed %d", sec.who, len(s.Feeds)+1), &f.Marks)
		if w == nil {
			continue
		}
		f.At = w.text("at", "start, end or a pixel number", "start")
		f.Address = d.feedAddress(w, s, f.At)
		f.Feeder = refer(w, "from", "feeder its wire comes from", d.feeders)
		f.Supply = refer(w, "supply", "supply its wire comes from; by default the string's", d.supplies)
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
		f.FuseAmps, f.FuseContinuousShare = w.fuse(fuse, fuseUse)
		f.ConnectorAmps = w.connector(s.ConnectorAmps)
		f.Temperature = w.temperature("temperature where its fuse and its lead are; by default the string's")
		w.end()
		if f.Address == 0 {
			continue
		}
		if taken[f.Address] && s.Pixels > 0 {
			d.errorf(f.Marks.At("at"), "feed each pixel once", "%s: another feed is at the same pixel", w.who)
		}
		taken[f.Address] = true
		s.Feeds = append(s.Feeds, f)
	}
	if len(s.Feeds) == 0 {
		f := &Feed{Address: 1, At: "start", Supply: supply, Wire: Wire{Metal: Copper}, FuseAmps: fuse, FuseContinuousShare: fuseUse, ConnectorAmps: s.ConnectorAmps}
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
	s.PortOrder = sec.order("port_order", "order of colours set on the port, if it changes them", "")
	sec.renamed("dimmed", "brightness")
	s.Brightness = sec.share("brightness", "level set on the port; 100 %: it does not dim", 1, false)
	s.Gamma = sec.number("gamma", "gamma set on the port; 1: it does not change levels", 1, 0.1, 5, bare)
	s.Copies = sec.whole("copies", "how many pixels show each address", 1, 1, 1000, pixelCount)
	s.Fold = sec.whole("fold", "after how many pixels the string turns back; 0: it does not", 0, 0, MaxStringPixels, pixelCount)
	s.Flow = Flow(sec.word("flow", "direction of the data; backward: the port counts from the far end", string(Forward), string(Backward)))
	s.WhiteDerived = sec.word("white", "where white comes from: it is sent, or derived by the port from red, green and blue", "sent", "derived") == "derived"
	s.NullsByPlan = sec.word("nulls_by", "what skips null pixels: the controller, or the plan, which gives them channels", "controller", "plan") == "plan"
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
