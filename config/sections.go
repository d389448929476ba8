package config

import (
	"math"
	"net/netip"
	"sort"
	"time"

	"yardproof/sacn"
)

func (d *decoder) source(s *section) {
	src := &d.plan.Source
	src.Name = s.text("name", "name that receivers show for this transmitter, up to 63 octets of UTF-8", src.Name)
	if len(src.Name) > 63 { // the field holds 64 octets with the NUL (E1.31 6.2.2)
		d.errorf(s.n.find("name").at, "shorten it", "source: name is %d octets long, the most is 63", len(src.Name))
		src.Name = defaultSourceName
	}
	src.Priority = s.whole("priority", "the source with the highest wins at a receiver (E1.31)", src.Priority, 0, 200, bare)
}

func (d *decoder) network(s *section) {
	n := &d.plan.Network
	n.Interface = s.text("interface", "network interface that packets leave by, such as eth0; --interface overrides it", "")
	most := math.Floor(10*sacn.MaxRate(sacn.MaxSlots)) / 10
	n.Rate = s.number("rate", "how often every universe is sent", n.Rate, 1, most, framesRate)
	n.SyncUniverse = s.universe("sync_universe", "universe of the synchronization packets; 0: none are sent", 0)
	n.Spread = s.share("spread", "part of the frame period over which its packets are spread", n.Spread, true)
	n.UsedSlots = s.word("slots", "what packets carry: full is all 512 slots, used is up to the last slot in use", "full", "used") == "used"
	n.IPv6 = s.word("family", "version of the IP addresses", "ipv4", "ipv6") == "ipv6"
	n.TTL = s.whole("ttl", "how far multicast may go; 1 stays in the local network", n.TTL, 1, 255, unit{name: "hops"})
	n.Preview = s.flag("preview", "mark the data as not for live output (E1.31 Preview_Data)")
	n.ForceSync = s.flag("force_sync", "receivers go on without synchronization when it is lost (E1.31 Force_Synchronization)")
}

// meterForm is what ParseMeter takes, as a pattern for editors.
const (
	meterNumber = `-?[0-9.]+([eE]-?[0-9]+)?\s*`
	meterForm   = `^\s*(` + meterNumber + `%(\s*\+\s*` + meterNumber + `[Aa])?|` + meterNumber + `[Aa](\s*\+\s*` + meterNumber + `%)?)\s*$`
)

func (d *decoder) meter(s *section) {
	n := s.get(Key{Name: "meter", Does: "error of the clamp meter: a share of the reading, and amperes", Kind: KeyText, Default: "3% + 0.10 A", Pattern: meterForm})
	if n == nil {
		return
	}
	m, err := ParseMeter(n.text, "A")
	if err != nil {
		d.errorf(n.at, `write it as "3% + 0.10 A"`, "the plan: meter cannot be %s", quote(n.text))
		return
	}
	d.plan.Meter = m
}

// named opens a section of a list and reads its name, which must be the only
// one of its kind.
func named[T any](d *decoder, n *node, kind string, marks *Marks, taken map[string]T) (*section, string) {
	s := d.section(n, "a "+kind, marks)
	if s == nil {
		return nil, ""
	}
	name := s.text("name", "what it is called, here and in every message; each its own", "")
	s.require("add it", "name")
	if name == "" {
		return s, ""
	}
	s.who = kind + " " + name
	if _, double := taken[name]; double {
		d.errorf(n.find("name").at, "give each its own name", "two %s are called %q", plural(kind), name)
	}
	return s, name
}

func plural(kind string) string {
	if kind == "supply" {
		return "supplies"
	}
	return kind + "s"
}

func (d *decoder) controller(n *node) {
	c := &Controller{}
	s, name := named(d, n, "controller", &c.Marks, d.controllers)
	if s == nil {
		return
	}
	c.Name = name
	d.address(s, c)
	c.Pack = Pack(s.word("pack", "how pixels fill universes: whole splits no pixel, continuous fills all 512 channels", string(PackWhole), string(PackContinuous)))
	c.OnLoss = OnLoss(s.word("on_loss", "what it shows when its data stops", append([]string{string(OnLossUnknown)}, SeenOnLoss()...)...))
	c.MaxAmps = s.positive("max_amps", "limit of the controller's power input", 0, 10000, amperes)
	c.MaxPixelsPerPort = s.whole("max_pixels_per_port", "limit of each port", 0, 1, MaxPixels, pixelCount)
	c.Ports = s.whole("ports", "how many ports it has, called 1, 2 and so on", 0, 1, 1000, unit{name: "ports"})
	c.MaxUniverses = s.whole("max_universes", "how many universes it can take", 0, 1, sacn.MaxUniverse, unit{name: "universes"})
	c.Spot = s.spot("at", "where it is: metres along the route, or [x, y] in metres")
	s.end()
	d.plan.Controllers = append(d.plan.Controllers, c)
	if _, double := d.controllers[name]; !double {
		d.controllers[name] = c
	}
}

// address reads where packets are sent to one controller.
func (d *decoder) address(s *section, c *Controller) {
	text := s.text("address", "IP address to send to; without it its universes go by multicast", "")
	if text == "" {
		return
	}
	at := c.At("address")
	a, err := netip.ParseAddr(text)
	switch a = a.Unmap(); {
	case err != nil:
		d.errorf(at, "write its IP address, such as 192.0.2.10, or leave the key out for multicast", "%s: address %s is not an IP address", s.who, quote(text))
	case a.IsMulticast() || a.IsUnspecified() || a == netip.AddrFrom4([4]byte{255, 255, 255, 255}):
		d.errorf(at, "leave the key out for multicast", "%s: address %s is not that of one controller", s.who, a)
	case a.Is6() != d.plan.Network.IPv6:
		d.errorf(at, "set family: under network: to match", "%s: address %s is not of the network's family", s.who, a)
	default:
		if other := d.addresses[a]; other != nil {
			d.errorf(at, "give each its own", "%s: address %s is that of controller %s", s.who, a, other.Name)
		}
		d.addresses[a], c.Address = c, a
	}
}

func (d *decoder) supply(n *node) {
	v := &Supply{}
	s, name := named(d, n, "supply", &v.Marks, d.supplies)
	if s == nil {
		return
	}
	v.Name = name
	v.Volts = s.positive("volts", "volts of its output, from its plate", 0, 60, volts)
	v.Watts = s.positive("watts", "watts of its output, from its plate", 0, 10000, watts)
	v.ContinuousShare = s.share("use", "part of the rating that may be drawn for hours", defaultSupplyUse, false)
	v.HiccupAmps = s.positive("hiccup_amps", "current at which it folds back in a short, from its leaflet", 0, 10000, amperes)
	v.Spot = s.spot("at", "where it is: metres along the route, or [x, y] in metres")
	v.Efficiency = s.share("efficiency", "output watts for each watt from the mains, from its leaflet", 0, false)
	v.PowerFactor = s.share("power_factor", "power factor at full load, from its leaflet", 0, false)
	v.InrushAmps = s.positive("inrush_amps", "peak current when it is switched on cold, from its leaflet", 0, 1000, amperes)
	v.LeakageMilliamps = s.positive("leakage_ma", "leakage to earth in mA, from its leaflet", 0, 100, bare)
	s.require("add it from the supply's plate", "volts", "watts")
	s.end()
	d.plan.Supplies = append(d.plan.Supplies, v)
	if _, double := d.supplies[name]; !double {
		d.supplies[name] = v
	}
}

func (d *decoder) feeder(n *node) {
	f := &Feeder{}
	s, name := named(d, n, "feeder", &f.Marks, d.feeders)
	if s == nil {
		return
	}
	f.Name = name
	f.Supply = refer(s, "supply", "the supply it comes from", d.supplies)
	f.Wire = s.wire(Wire{}, leadWire)
	f.FuseAmps, f.FuseContinuousShare = s.fuse(0, defaultFuseUse)
	f.ConnectorAmps = s.connector(0)
	f.Spot = s.spot("at", "where its fuse block is: metres along the route, or [x, y] in metres")
	f.Temperature = s.temperature("temperature where it lies and where its fuse is; by default the plan's")
	s.require("add it", "supply")
	s.end()
	d.plan.Feeders = append(d.plan.Feeders, f)
	if _, double := d.feeders[name]; !double {
		d.feeders[name] = f
	}
}

// fuse reads a fuse, what is given otherwise, and how much of it is used.
func (s *section) fuse(amps, share float64) (float64, float64) {
	return s.positive("fuse_amps", "the fuse where the wire begins, as printed on it", amps, 1000, amperes),
		s.share("fuse_use", "part of the fuse's rating that may flow for hours", share, false)
}

// temperature reads that of a place; nil when it was left out.
func (s *section) temperature(does string) *float64 {
	v := s.numberOf(Key{Name: "temperature", Does: does, Lo: coldest, Hi: hottest}, math.Inf(-1), celsius)
	if math.IsInf(v, -1) {
		return nil
	}
	return &v
}

// connector reads what connectors may carry, and what is given otherwise.
func (s *section) connector(amps float64) float64 {
	return s.positive("connector_amps", "what the connectors on this wire may carry, from their leaflet at the place's temperature", amps, 1000, amperes)
}

// refer resolves the name of something defined elsewhere in the plan.
func refer[T any](s *section, key, does string, known map[string]*T) *T {
	name := s.text(key, does, "")
	if name == "" {
		return nil
	}
	if v := known[name]; v != nil {
		return v
	}
	names := make([]string, 0, len(known))
	for n := range known {
		names = append(names, n)
	}
	sort.Strings(names)
	fix := Suggest(name, names)
	if len(names) == 0 {
		fix = "the plan defines none: add it"
	}
	kind := key
	switch key {
	case "from":
		kind = "feeder"
	case "after":
		kind = "string above it"
		if Nearest(name, names) == "" {
			fix = "write the strings of a port in the order in which data passes them"
		}
	}
	s.d.errorf(s.n.find(key).at, fix, "%s: there is no %s called %s", s.who, kind, quote(name))
	return nil
}

func (d *decoder) reserved(n *node) {
	var r ReservedChannels
	s := d.section(n, "reserved", &r.Marks)
	if s == nil {
		return
	}
	r.Universe = s.universe("universe", "universe that the channels are on", sacn.MinUniverse)
	r.First, r.Last = s.channels("channels", "first and last channel, or one: 400-512")
	r.Value = s.whole("value", "value that is always sent there", 0, 0, 255, bare)
	r.What = s.text("what", "what is on these channels, for messages", "")
	s.require("add it", "universe", "channels")
	s.end()
	if r.Universe > 0 && r.First > 0 {
		d.plan.Reserved = append(d.plan.Reserved, r)
	}
}

func (d *decoder) burnIn(s *section) {
	b := &d.plan.BurnIn
	b.Hours = s.positive("hours", "hours that every string has to run", 0, 10000, hours)
	if text := s.textOf(Key{Name: "between", Does: "part of the day, in local time, in which it runs; without it always", Pattern: windowForm}); text != "" {
		var err error
		if b.Between, err = parseWindow(text); err != nil {
			d.errorf(b.At("between"), `write it as "16:00-22:00"`, "burn_in: between cannot be %s", quote(text))
		}
	}
	for t, marks := range d.sections(s.list("programme", "the steps, shown over and over"), "a step of the programme") {
		step := Step{Marks: marks}
		step.Pattern = t.text("pattern", "name of a pattern; yardproof help patterns lists them", "")
		step.Level = t.share("level", "level of the pattern", 1, false)
		minutes := t.positive("minutes", "how long it is shown", 0, 60*24*30, minutes)
		t.require("add it", "pattern", "minutes")
		step.Duration = time.Duration(minutes * float64(time.Minute))
		t.end()
		b.Programme = append(b.Programme, step)
	}
}
