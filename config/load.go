package config

import (
	"fmt"
	"io"
	"math"
	"net/netip"
)

// maxProblems bounds the answer to a file that is no plan at all.
const maxProblems = 2000

// decoder turns nodes into a plan and keeps what is wrong with it.
type decoder struct {
	plan     *Plan
	problems []Problem
	dropped  int
	spare    []string // memory for a section's known keys

	controllers map[string]*Controller
	supplies    map[string]*Supply
	feeders     map[string]*Feeder
	addresses   map[netip.Addr]*Controller
	onMains     map[*Supply]*Mains
	enclosed    map[*Controller]*Enclosure
	coordinates int // how many numbers a place has; 0: none was seen yet

	describing map[*node]*Key // see Keys; mostly nil
}

func (d *decoder) errorf(at Mark, fix, format string, args ...any) {
	d.note(Error, at, fix, format, args...)
}

func (d *decoder) warnf(at Mark, fix, format string, args ...any) {
	d.note(Warning, at, fix, format, args...)
}

func (d *decoder) note(severity Severity, at Mark, fix, format string, args ...any) {
	if len(d.problems) == maxProblems {
		d.dropped++
		return
	}
	d.problems = append(d.problems, Problem{severity, d.plan.Where(at), fmt.Sprintf(format, args...), fix})
}

// Load reads a plan. The file is its name in messages. It always returns a plan,
// as far as the text was understood, and every problem at once in the order of
// the file; a plan with an error among its problems must not be used to send.
// Text that begins with { is read as JSON, all else as YAML; both must be UTF-8
// and at most 16 MiB long.
func Load(file string, r io.Reader) (*Plan, []Problem) {
	d := newDecoder(file)
	p := d.plan
	data, err := io.ReadAll(io.LimitReader(r, maxBytes+4))
	if err != nil {
		d.errorf(Mark{}, "check the file", "the plan cannot be read: %v", err)
		return p, d.all()
	}
	if root, ok := d.tree(data); ok {
		d.root(&root)
		d.checkMap()
	}
	return p, d.all()
}

func newDecoder(file string) *decoder {
	return &decoder{plan: newPlan(file), controllers: map[string]*Controller{}, supplies: map[string]*Supply{},
		feeders: map[string]*Feeder{}, addresses: map[netip.Addr]*Controller{}, onMains: map[*Supply]*Mains{}, enclosed: map[*Controller]*Enclosure{}}
}

func (d *decoder) all() []Problem {
	SortProblems(d.problems)
	if d.dropped > 0 {
		return append(d.problems, Problem{Error, d.plan.Where(Mark{}), fmt.Sprintf("%d more problems are not shown", d.dropped), "fix these first"})
	}
	return d.problems
}

func newPlan(file string) *Plan {
	return &Plan{
		File:        file,
		Source:      Source{Name: defaultSourceName, Priority: defaultPriority},
		Network:     Network{Rate: defaultRate, Spread: defaultSpread, TTL: 1},
		Temperature: defaultTemperature,
		Meter:       DefaultMeter,
		Protection:  DefaultProtection,
		Tolerance:   DefaultTolerance,
	}
}

func (d *decoder) root(n *node) {
	p := d.plan
	s := d.section(n, "the plan", &p.Marks)
	if s == nil {
		return
	}
	s.extensible = true
	p.Name = s.text("name", "name of the display, for headings", "")
	if sub := s.sub("source", "how the transmitter presents itself", "source", &p.Source.Marks); sub != nil {
		d.source(sub)
		sub.end()
	}
	if sub := s.sub("network", "how packets leave this machine", "network", &p.Network.Marks); sub != nil {
		d.network(sub)
		sub.end()
	}
	p.Temperature = s.number("temperature", "temperature of wire and fuses wherever none is given", defaultTemperature, coldest, hottest, celsius)
	d.meter(s)
	for n := range d.each(s.list("controllers", "what turns universes into pixel data")) {
		d.controller(n)
	}
	for n := range d.each(s.list("supplies", "the DC power supplies")) {
		d.supply(n)
	}
	if sub := s.sub("protection", "what the judgement of faults assumes of fuses", "protection", &p.Protection.Marks); sub != nil {
		p.Protection.FuseHolds = sub.number("fuse_holds", "what a fuse may hold for ever, in % of its rating, from its maker's curve", math.Round(100*p.Protection.FuseHolds), 100, 200, percent) / 100
		p.Protection.ShortFactor = sub.number("short_factor", "how many times its rating a fuse needs to open within seconds, from its maker's curve", p.Protection.ShortFactor, 1.35, 10, bare)
		sub.end()
	}
	if sub := s.sub("tolerance", "how far wire, joints and pixels may be from the plan's figures", "tolerance", &p.Tolerance.Marks); sub != nil {
		d.tolerance(sub)
	}
	circuits := map[string]*Mains{}
	for n := range d.each(s.list("mains", "the mains circuits that the supplies hang on")) {
		d.mains(n, circuits)
	}
	boxes := map[string]*Enclosure{}
	for n := range d.each(s.list("enclosures", "closed boxes, and what makes heat in them")) {
		d.enclosure(n, boxes)
	}
	for n := range d.each(s.list("feeders", "wires from a supply to a fuse block that several feeds share")) {
		d.feeder(n)
	}
	if sub := s.sub("stock", "wire, fuses and supplies to choose from, with prices and what is in hand", "stock", &p.Stock.Marks); sub != nil {
		d.stock(sub)
		sub.end()
	}
	lines := s.list("strings", "the strings of pixels")
	if at := s.n.find("strings"); at == nil || len(lines) == 0 && at.kind != scalar && at.kind != mapping {
		d.errorf(p.At("strings"), "add strings: with a name, a universe and the number of pixels for each", "the plan has no strings")
	}
	s.declareRequired("strings")
	d.strings(lines)
	s.renamed("keep", "reserved")
	for n := range d.each(s.list("reserved", "channels of something else on the same universes; no pattern touches them")) {
		d.reserved(n)
	}
	if sub := s.sub("burn_in", "the programme to run before the season", "burn_in", &p.BurnIn.Marks); sub != nil {
		d.burnIn(sub)
		sub.end()
	}
	s.end()
}

// each ranges over pointers to nodes, until there are too many problems.
func (d *decoder) each(nodes []node) func(func(*node) bool) {
	return func(yield func(*node) bool) {
		for i := range nodes {
			if d.dropped > 0 || !yield(&nodes[i]) {
				return
			}
		}
	}
}
