package config

import "slices"

// Excerpt returns what of a plan matters for the power of some strings: these, which
// may differ from the plan's own, and the supplies and feeders that they hang on,
// without controllers and mains.
func (p *Plan) Excerpt(strings ...*String) *Plan {
	part := *p
	part.Strings, part.Controllers, part.Supplies, part.Feeders = nil, nil, nil, nil
	part.Mains, part.Reserved, part.addresses = nil, nil, nil
	for i, s := range strings {
		copied := *s
		copied.Index, copied.Controller, copied.After = i, nil, nil
		part.Strings = append(part.Strings, &copied)
		for _, f := range s.Feeds {
			if f.Feeder != nil && !slices.Contains(part.Feeders, f.Feeder) {
				part.Feeders = append(part.Feeders, f.Feeder)
			}
			if f.Supply != nil && !slices.Contains(part.Supplies, f.Supply) {
				part.Supplies = append(part.Supplies, f.Supply)
			}
		}
	}
	return &part
}
