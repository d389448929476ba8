package config

import (
	"fmt"
	"slices"
	"strings"
)

// Number is what a string is called by `number` and on the page: its place in
// the plan file, from 1, whatever part of the plan is sent from here.
func (s *String) Number() int { return s.Index + 1 + s.ahead }

// Shard returns the part of a plan that belongs to some of its controllers, for
// one of several transmitters that send a yard between them, and what keeps the
// parts from being sent by different ones: a stream, a supply or a feeder that
// strings of both sides share. Each transmitter knows its own levels only, so a
// cap on something shared would hold for neither.
func (p *Plan) Shard(controllers []string) (*Plan, []Problem) {
	d := &decoder{plan: p}
	for _, name := range controllers {
		if !slices.ContainsFunc(p.Controllers, func(c *Controller) bool { return c.Name == name }) {
			d.errorf(Mark{}, Suggest(name, controllerNames(p)), "--only-controllers: the plan has no controller %s", quote(name))
		}
	}
	ours := func(s *String) bool { return s.Controller != nil && slices.Contains(controllers, s.Controller.Name) }
	part := *p
	part.Strings, part.Controllers, part.Supplies, part.Feeders, part.addresses = nil, nil, nil, nil, nil
	m := p.Map()
	first, told := map[any]*String{}, map[any]bool{} // by stream, supply or feeder
	claim := func(thing any, what string, s *String) {
		rival := first[thing]
		switch {
		case rival == nil:
			first[thing] = s
		case ours(rival) != ours(s) && !told[thing]:
			told[thing] = true
			d.errorf(s.At("name"), "send both from one transmitter, or give each its own",
				"%s serves %s, which is sent from %s, and %s, which is sent from %s", what, rival.Name, side(ours(rival)), s.Name, side(ours(s)))
		}
	}
	copies := map[*String]*String{} // in the part
	for i, s := range p.Strings {
		if s.Controller == nil {
			d.warnf(s.At("name"), "give it a controller", "no --only-controllers sends %s, which has no controller", s.Name)
		}
		for _, c := range m.Strings[i].Copies {
			claim(c.Universe, fmt.Sprintf("universe %d", m.Universes[c.Universe].Number), s)
		}
		for _, f := range s.Feeds {
			if f.Supply != nil {
				claim(f.Supply, "supply "+f.Supply.Name, s)
			}
			if f.Feeder != nil {
				claim(f.Feeder, "feeder "+f.Feeder.Name, s)
			}
		}
		if ours(s) {
			copied := *s
			if s.After != nil {
				copied.After = copies[s.After]
			}
			copies[s] = &copied
			copied.Index = len(part.Strings)
			copied.ahead = s.Number() - 1 - copied.Index
			part.Strings = append(part.Strings, &copied)
		}
	}
	for _, c := range p.Controllers {
		if slices.Contains(controllers, c.Name) {
			part.Controllers = append(part.Controllers, c)
		}
	}
	for _, v := range p.Supplies {
		if s := first[v]; s != nil && ours(s) {
			part.Supplies = append(part.Supplies, v)
		}
	}
	for _, v := range p.Feeders {
		if s := first[v]; s != nil && ours(s) {
			part.Feeders = append(part.Feeders, v)
		}
	}
	if len(part.Strings) == 0 && !slices.ContainsFunc(d.problems, func(p Problem) bool { return p.Severity == Error }) {
		d.errorf(Mark{}, "name others", "no string is on %s", strings.Join(controllers, ", "))
	}
	part.addresses = part.Map()
	return &part, d.all()
}

func side(ours bool) string {
	if ours {
		return "here"
	}
	return "elsewhere"
}

func controllerNames(p *Plan) []string {
	var names []string
	for _, c := range p.Controllers {
		names = append(names, c.Name)
	}
	return names
}
