package burnin

import (
	"fmt"
	"slices"

	"yardproof/config"
)

// isOf reports whether this is the progress of a plan: of its name, and of one at least
// of its strings, if it is of any.
func (p *Progress) isOf(plan *config.Plan) bool {
	served := 0
	for name, s := range p.Strings {
		if s.Served == 0 {
			continue
		}
		if served++; p.Plan == plan.Name && s.isOf(plan.Find(name)) {
			return true
		}
	}
	return served == 0 && p.Plan == plan.Name
}

// isOf reports whether these are the hours of a string: the same one, at the same address.
func (s Served) isOf(str *config.String) bool {
	return str != nil && s.Label == str.Label && s.Address == address(str)
}

// adoptStrings lets a string go on with its hours only if it is the same one, at
// the same address.
func (b *BurnIn) adoptStrings() {
	p := &b.progress
	if p.Strings == nil {
		p.Strings = map[string]Served{}
	}
	for _, name := range b.names {
		s := b.plan.Find(name)
		old := p.Strings[name]
		if old.isOf(s) {
			continue
		}
		if old.Served > 0 {
			b.cfg.Log.Warn("the same name, but another string or address: its hours begin anew", "string", name)
		}
		p.Strings[name] = Served{Label: s.Label, Address: address(s)}
	}
}

// address is where on the wire a string is: what its hours are hours of.
func address(s *config.String) string {
	controller := ""
	if s.Controller != nil {
		controller = s.Controller.Name
	}
	return fmt.Sprintf("%s port %s universe %d channel %d, %d pixels %s, %d null", controller, s.Port, s.Universe, s.Channel, s.Pixels, s.Order, s.NullPixels)
}

// choose returns the strings that are meant, in the plan's order.
func choose(plan *config.Plan, names, controllers []string) ([]string, error) {
	found := map[string]bool{}
	var list []string
	for _, s := range plan.Strings {
		controller := ""
		if s.Controller != nil {
			controller = s.Controller.Name
		}
		found["string "+s.Name], found["controller "+controller] = true, true
		if len(names)+len(controllers) == 0 || slices.Contains(names, s.Name) || slices.Contains(controllers, controller) {
			list = append(list, s.Name)
		}
	}
	for _, n := range names {
		if !found["string "+n] {
			return nil, fmt.Errorf("the plan has no string %q; %s", n, plan.NoString(n))
		}
	}
	for _, n := range controllers {
		if !found["controller "+n] {
			return nil, fmt.Errorf("no string of the plan is on a controller %q", n)
		}
	}
	return list, nil
}
