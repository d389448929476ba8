package config

// Stock is what wire, fuses and supplies can be had: their prices, and what is in
// hand. Prices are in one currency, whichever.
type Stock struct {
	Marks
	Wire      []StockWire
	Fuses     []StockFuse
	Supplies  []StockSupply
	Connector StockConnector
	Pixels    []StockPixels
}

// StockWire is a kind of wire, two conductors together.
type StockWire struct {
	Marks
	Wire          // without a length
	Price float64 // for a metre
	Have  float64 // metres in hand
}

// StockFuse is a rating of fuse.
type StockFuse struct {
	Marks
	Amps  float64
	Price float64
	Have  int
}

// StockSupply is a kind of supply.
type StockSupply struct {
	Marks
	Volts, Watts float64
	Price        float64
	Have         int
}

// StockConnector is what it takes to cut in a feed: its connector pair and fuse holder.
type StockConnector struct {
	Marks
	Price float64
	Have  int
}

// StockPixels are spare pixels of a chip.
type StockPixels struct {
	Marks
	Chip string
	Have int
}

var (
	money  = unit{name: "in your currency"}
	pieces = unit{name: "pieces"}
)

func (s *section) price(does string) float64 {
	return s.number("price", does, 0, 0, 1e6, money)
}

func (s *section) have() int {
	return s.whole("have", "how many are in hand", 0, 0, 1_000_000, pieces)
}

func (d *decoder) stock(s *section) {
	st := &d.plan.Stock
	for sec, marks := range d.sections(s.list("wire", "the kinds of wire for leads and feeders"), "stock: wire") {
		w := StockWire{Marks: marks}
		w.Wire = sec.wire(Wire{}, stockWire)
		w.Price = sec.price("price of a metre of both conductors")
		w.Have = sec.number("have", "metres in hand, of both conductors", 0, 0, 1e6, metres)
		sec.require("add it", "price")
		sec.end()
		if w.Known() {
			st.Wire = append(st.Wire, w)
		}
	}
	for sec, marks := range d.sections(s.list("fuses", "the ratings of fuses"), "stock: fuse") {
		f := StockFuse{Marks: marks}
		f.Amps = sec.positive("amps", "as printed on it", 0, 1000, amperes)
		f.Price = sec.price("price of one")
		f.Have = sec.have()
		sec.require("add it", "amps", "price")
		sec.end()
		if f.Amps > 0 {
			st.Fuses = append(st.Fuses, f)
		}
	}
	for sec, marks := range d.sections(s.list("supplies", "the kinds of supplies"), "stock: supply") {
		v := StockSupply{Marks: marks}
		v.Volts = sec.positive("volts", "volts of its output, from its plate", 0, 60, volts)
		v.Watts = sec.positive("watts", "watts of its output, from its plate", 0, 10000, watts)
		v.Price = sec.price("price of one")
		v.Have = sec.have()
		sec.require("add it", "volts", "watts", "price")
		sec.end()
		if v.Volts > 0 && v.Watts > 0 {
			st.Supplies = append(st.Supplies, v)
		}
	}
	if sub := s.sub("connectors", "what it takes to cut in one feed: a connector pair and a fuse holder", "stock: connectors", &st.Connector.Marks); sub != nil {
		st.Connector.Price = sub.price("price for one feed")
		st.Connector.Have = sub.have()
		sub.end()
	}
	for sec, marks := range d.sections(s.list("pixels", "spare pixels in hand"), "stock: pixels") {
		x := StockPixels{Marks: marks}
		x.Chip = sec.text("chip", "the pixel driver chip", "")
		x.Have = sec.have()
		sec.require("add it", "chip")
		sec.end()
		st.Pixels = append(st.Pixels, x)
	}
}
