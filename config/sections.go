package config

import (
	"net/netip"
	"regexp"
	"sort"
	"time"
)

func (d *decoder) source(s *section) {
	src := &d.plan.Source
	src.Name = s.text("name", src.Name)
	if len(src.Name) > 63 { // the field holds 64 octets with the NUL (E1.31 6.2.2)
		d.errorf(s.n.find("name").at, "shorten it", "source: name is %d octets long, the most is 63", len(src.Name))
		src.Name = DefaultSourceName
	}
	src.Priority = s.whole("priority", src.Priority, 0, 200, "")
}

func (d *decoder) network(s *section) {
	n := &d.plan.Network
	n.Interface = s.text("interface", "")
	n.Rate = s.number("rate", n.Rate, 1, MaxRate, "frames a second")
	n.SyncUniverse = s.whole("sync_universe", 0, 0, MaxUniverse, "(0: no synchronization)")
	n.Spread = s.shareOrZero("spread", n.Spread)
	n.UsedSlots = s.word("slots", "full", "used") == "used"
	n.IPv6 = s.word("family", "ipv4", "ipv6") == "ipv6"
	n.TTL = s.whole("ttl", n.TTL, 1, 255, "hops")
	n.Preview = s.flag("preview")
	n.ForceSync = s.flag("force_sync")
}

var meterForm = regexp.MustCompile(`^\s*(?:([0-9.]+)\s*%)?\s*(\+)?\s*(?:([0-9.]+)\s*A)?\s*$`)

// meter reads a clamp meter's error as its leaflet gives it: 3% + 0.10 A.
func (d *decoder) meter(s *section) {
	n := s.getScalar("meter")
	if n == nil {
		return
	}
	var m Meter
	f := meterForm.FindStringSubmatch(n.text)
	ok := f != nil && (f[1] != "" || f[3] != "") && (f[2] != "") == (f[1] != "" && f[3] != "")
	if ok && f[1] != "" {
		m.Share, ok = parseNumber(f[1])
		m.Share /= 100
	}
	if ok && f[3] != "" {
		m.Amps, ok = parseNumber(f[3])
	}
	if !ok || m.Share > 0.5 || m.Amps > 10 {
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
	name := s.text("name", "")
	if name == "" {
		if s.n.find("name") == nil {
			d.errorf(n.at, "add name:", "%s has no name", s.who)
		}
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
	c.Address = s.text("address", "")
	if c.Address != "" {
		d.address(s, c)
	}
	c.Pack = Pack(s.word("pack", string(PackWhole), string(PackContinuous)))
	c.OnLoss = OnLoss(s.word("on_loss", string(OnLossUnknown), string(OnLossHolds), string(OnLossDark), string(OnLossOwnPattern)))
	c.MaxAmps = s.positive("max_amps", 0, 10000, "A")
	c.MaxPixelsPerPort = s.whole("max_pixels_per_port", 0, 1, MaxPixels, "pixels")
	s.end()
	d.plan.Controllers = append(d.plan.Controllers, c)
	if _, double := d.controllers[name]; !double {
		d.controllers[name] = c
	}
}

// address checks that packets can be sent to one controller there.
func (d *decoder) address(s *section, c *Controller) {
	at := c.At("address")
	a, err := netip.ParseAddr(c.Address)
	switch {
	case err != nil:
		d.errorf(at, "write its IP address, such as 192.0.2.10, or leave the key out for multicast", "%s: address %s is no IP address", s.who, quote(c.Address))
	case a.IsMulticast() || a.IsUnspecified() || a == netip.AddrFrom4([4]byte{255, 255, 255, 255}):
		d.errorf(at, "leave the key out for multicast", "%s: address %s is not that of one controller", s.who, a)
	case a.Unmap().Is6() != d.plan.Network.IPv6:
		d.errorf(at, "set family: under network: to match", "%s: address %s is not of the network's family", s.who, a)
	default:
		c.Address = a.Unmap().String()
		if other := d.addresses[c.Address]; other != nil {
			d.errorf(at, "give each its own", "%s: address %s is that of controller %s", s.who, a, other.Name)
		}
		d.addresses[c.Address] = c
		return
	}
	c.Address = ""
}

func (d *decoder) supply(n *node) {
	v := &Supply{}
	s, name := named(d, n, "supply", &v.Marks, d.supplies)
	if s == nil {
		return
	}
	v.Name = name
	v.Volts = s.positive("volts", 0, 60, "V")
	v.Watts = s.positive("watts", 0, 10000, "W")
	v.ContinuousShare = s.share("use", DefaultSupplyUse)
	s.end()
	for _, key := range []string{"volts", "watts"} {
		if n.find(key) == nil {
			d.errorf(n.at, "add it from the supply's plate", "%s: %s is missing", s.who, key)
		}
	}
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
	f.Supply = refer(s, "supply", d.supplies)
	f.Wire = s.wire(Wire{}, leadWire)
	f.FuseAmps = s.positive("fuse_amps", 0, 1000, "A")
	f.FuseContinuousShare = s.share("fuse_use", DefaultFuseUse)
	s.end()
	if n.find("supply") == nil {
		d.errorf(n.at, "add supply:", "%s: supply is missing", s.who)
	}
	d.plan.Feeders = append(d.plan.Feeders, f)
	if _, double := d.feeders[name]; !double {
		d.feeders[name] = f
	}
}

// refer resolves the name of something defined elsewhere in the plan.
func refer[T any](s *section, key string, known map[string]*T) *T {
	name := s.text(key, "")
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
	fix := suggest(name, names)
	if len(names) == 0 {
		fix = "the plan defines none: add it"
	}
	kind := key
	if key == "from" {
		kind = "feeder"
	}
	s.d.errorf(s.n.find(key).at, fix, "%s: there is no %s called %s", s.who, kind, quote(name))
	return nil
}

func (d *decoder) keep(n *node) {
	k := ReservedChannels{}
	s := d.section(n, "keep", &k.Marks)
	if s == nil {
		return
	}
	k.Universe = s.whole("universe", 0, MinUniverse, MaxUniverse, "")
	k.First, k.Last = s.channels("channels")
	k.Value = s.whole("value", 0, 0, 255, "")
	k.What = s.text("what", "")
	s.end()
	for _, key := range []string{"universe", "channels"} {
		if n.find(key) == nil {
			d.errorf(n.at, "add it", "keep: %s is missing", key)
		}
	}
	if k.Universe > 0 && k.First > 0 {
		d.plan.Reserved = append(d.plan.Reserved, k)
	}
}

var betweenForm = regexp.MustCompile(`^([01][0-9]|2[0-3]):[0-5][0-9]-([01][0-9]|2[0-3]):[0-5][0-9]$`)

func (d *decoder) burnIn(s *section) {
	b := &d.plan.BurnIn
	b.Hours = s.positive("hours", 0, 10000, "hours")
	b.Between = s.text("between", "")
	if b.Between != "" && (!betweenForm.MatchString(b.Between) || b.Between[:5] == b.Between[6:]) {
		d.errorf(b.At("between"), `write it as "16:00-22:00"`, "burn_in: between cannot be %s", quote(b.Between))
		b.Between = ""
	}
	for n := range d.each(s.list("programme")) {
		var step Step
		t := d.section(n, "a step of the programme", &step.Marks)
		if t == nil {
			continue
		}
		step.Pattern = t.text("pattern", "")
		if step.Pattern == "" && n.find("pattern") == nil {
			d.errorf(n.at, "add pattern:", "a step of the programme has no pattern")
		}
		step.Level = t.share("level", 1)
		minutes := t.positive("minutes", 0, 60*24*30, "minutes")
		if n.find("minutes") == nil {
			d.errorf(n.at, "add minutes:", "a step of the programme has no length")
		}
		step.Duration = time.Duration(minutes * float64(time.Minute))
		t.end()
		b.Programme = append(b.Programme, step)
	}
}
