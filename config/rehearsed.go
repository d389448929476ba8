package config

import "net/netip"

// Rehearsed returns the plan as a rehearsal on this machine sends it: by the
// interface, under a name that says so, with each controller that has an address
// at the one that local gives for it. Its other values are shared with the plan.
func (p *Plan) Rehearsed(iface string, local func(*Controller) netip.Addr) *Plan {
	r := *p
	r.Name = "Rehearsal"
	if p.Name != "" {
		r.Name += ": " + p.Name
	}
	r.Network.Interface, r.Network.IPv6 = iface, false
	r.Strings, r.Controllers, r.addresses = nil, nil, nil
	moved := map[*Controller]*Controller{}
	for _, c := range p.Controllers {
		m := *c
		if m.Address.IsValid() {
			m.Address = local(c)
		}
		moved[c] = &m
		r.Controllers = append(r.Controllers, &m)
	}
	copies := map[*String]*String{}
	for _, s := range p.Strings {
		c := *s
		c.Controller, c.After = moved[s.Controller], copies[s.After]
		copies[s] = &c
		r.Strings = append(r.Strings, &c)
	}
	r.addresses = r.Map()
	return &r
}
