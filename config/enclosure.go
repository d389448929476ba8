package config

// Enclosure is a closed box and what makes heat in it.
type Enclosure struct {
	Marks
	Name        string
	Area        float64 // outer surface that gives off heat, square metres
	Material    string  // plastic or steel
	Temperature *float64
	Supplies    []*Supply
	Controllers []*Controller
	Watts       float64 // heat of whatever else is in it
}

// The materials of an enclosure.
const (
	Plastic = "plastic"
	Steel   = "steel"
)

func (d *decoder) enclosure(n *node, taken map[string]*Enclosure) {
	e := &Enclosure{}
	s, name := named(d, n, "enclosure", &e.Marks, taken)
	if s == nil {
		return
	}
	e.Name = name
	e.Area = s.positive("area", "its outer surface, without the side on the wall", 0, 100, squareMetres)
	e.Material = s.word("material", "what its walls are of", Plastic, Steel)
	e.Temperature = s.temperature("temperature of the air around it; by default the plan's")
	e.Supplies = references(s, "supplies", "the supplies in it; fuses of their feeds and feeders are taken to be in it too", "supply", d.supplies, func(v *Supply) string {
		if v.Enclosure != nil {
			return "in enclosure " + v.Enclosure.Name
		}
		v.Enclosure = e
		return ""
	})
	e.Controllers = references(s, "controllers", "the controllers in it", "controller", d.controllers, func(c *Controller) string {
		if d.enclosed[c] != nil {
			return "in enclosure " + d.enclosed[c].Name
		}
		d.enclosed[c] = e
		return ""
	})
	e.Watts = s.positive("heat_watts", "heat of whatever else is in it, such as a network switch", 0, 10000, watts)
	s.require("add it", "area")
	s.end()
	d.plan.Enclosures = append(d.plan.Enclosures, e)
	if _, double := taken[name]; !double {
		taken[name] = e
	}
}
