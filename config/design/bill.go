package design

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"yardproof/config"
)

// A Bill is what is to be got, held against what is in stock. A metre of wire is one of
// both conductors.
type Bill struct {
	Cuts     []Cut    `json:"cuts"` // the cutting list, by wire, the longest first
	Items    []Item   `json:"items"`
	Cost     float64  `json:"cost"`               // of what is to be bought and has a price in stock
	Unpriced []string `json:"unpriced,omitempty"` // to be bought, and without a price there
}

// Cut is pieces of one wire and one length.
type Cut struct {
	Wire   string   `json:"wire"`
	Metres float64  `json:"metres"` // of each piece
	Pieces int      `json:"pieces"`
	For    []string `json:"for"`
}

// Item is one thing on a bill.
type Item struct {
	Kind  string   `json:"item"`
	What  string   `json:"what"`
	Unit  string   `json:"unit,omitempty"` // of the figures; "": pieces
	Need  float64  `json:"quantity"`
	Spare float64  `json:"spare"`
	Have  float64  `json:"in_hand"`
	Buy   float64  `json:"to_buy"`
	Price float64  `json:"price,omitempty"` // of one, from the stock; 0: it has none
	Cost  float64  `json:"cost,omitempty"`  // of what is to be bought
	For   []string `json:"for"`
}

// Spares, as shares (common practice, no source). Of pixels one at least.
const (
	spareWire   = 0.10
	sparePixels = 0.05
)

// The kinds of things on a bill, in its order.
const (
	controllerItem = "controller"
	supplyItem     = "supply"
	fuseItem       = "fuse"
	connectorItem  = "connector"
	wireItem       = "wire"
	dataItem       = "data lead"
	pixelsItem     = "pixels"
)

// BillOf is what a plan takes as a whole, whatever of it hangs already.
func BillOf(p *config.Plan) *Bill {
	b := newBilling(&p.Stock)
	for _, c := range p.Controllers {
		b.add(controllerItem, "E1.31 pixel controller", c.Name, 1)
	}
	for _, v := range p.Supplies {
		b.supply(v)
	}
	for _, f := range p.Feeders {
		b.fuse(f.FuseAmps, f.Name)
		b.wire(f.Wire, f.Name, "feeder "+f.Name)
	}
	for _, s := range p.Strings {
		for _, f := range s.Feeds {
			b.feed(s, f)
		}
		for _, j := range s.Jumpers {
			b.wire(j.Wire, s.Name, fmt.Sprintf("%s after %d", s.Name, j.After))
		}
		if s.DataLead > 0 {
			b.add(dataItem, "data and return", s.Name, s.DataLead)
		}
		b.pixels(s).Need += pixelsOf(s)
	}
	return b.done()
}

// billOf is what a proposal takes beside what the plan has today: nothing that is taken
// out is counted as in hand. The spare pixels are those of the plan as a whole.
func billOf(out *Proposal) *Bill {
	today := out.today
	b := newBilling(&today.Stock)
	for _, v := range out.Supplies {
		b.supply(v.supply)
	}
	for _, f := range out.Feeders {
		if f.is.FuseAmps != f.was.FuseAmps {
			b.fuse(f.is.FuseAmps, f.Name)
		}
		if f.is.Wire != f.was.Wire {
			b.wire(f.is.Wire, f.Name, "feeder "+f.Name)
		}
	}
	for _, s := range out.Strings {
		was := today.Strings[s.index]
		for _, f := range s.feeds {
			old := feedAt(was, f.Address)
			switch {
			case old == nil:
				b.feed(was, f)
				continue
			case old.Wire != f.Wire || nameOf(old) != nameOf(f):
				b.wire(f.Wire, was.Name, was.Name+" at "+f.At)
			}
			if old.FuseAmps != f.FuseAmps {
				b.fuse(f.FuseAmps, was.Name)
			}
		}
	}
	for _, s := range today.Strings {
		b.pixels(s)
	}
	return b.done()
}

// feedAt is the feed that a plan has at an address of a string; nil: none is written.
func feedAt(s *config.String, address int) *config.Feed {
	i := slices.IndexFunc(s.Feeds, func(f *config.Feed) bool { return f.Address == address })
	if i < 0 || !s.Marks.Has("feeds") {
		return nil
	}
	return s.Feeds[i]
}

// billing makes a bill.
type billing struct {
	stock *config.Stock
	bill  Bill
	items []*Item
	chips map[*Item]string // of pixels
}

func newBilling(stock *config.Stock) *billing {
	return &billing{stock: stock, bill: Bill{Cuts: []Cut{}, Items: []Item{}}, chips: map[*Item]string{}}
}

// add adds to an item, and returns it.
func (b *billing) add(kind, what, where string, n float64) *Item {
	i := slices.IndexFunc(b.items, func(o *Item) bool { return o.Kind == kind && o.What == what })
	if i < 0 {
		i = len(b.items)
		b.items = append(b.items, &Item{Kind: kind, What: what})
	}
	it := b.items[i]
	it.Need += n
	if !slices.Contains(it.For, where) {
		it.For = append(it.For, where)
	}
	return it
}

func (b *billing) supply(v *config.Supply) {
	it := b.add(supplyItem, fmt.Sprintf("%g V, %g W", v.Volts, v.Watts), v.Name, 1)
	it.Have = 0
	for _, s := range b.stock.Supplies {
		if s.Volts == v.Volts && s.Watts == v.Watts {
			it.Have, it.Price = it.Have+float64(s.Have), cmp.Or(it.Price, s.Price)
		}
	}
}

func (b *billing) fuse(amps float64, where string) {
	if amps <= 0 {
		return
	}
	it := b.add(fuseItem, fmt.Sprintf("%g A, DC-rated", amps), where, 1)
	it.Have = 0
	for _, s := range b.stock.Fuses {
		if s.Amps == amps {
			it.Have, it.Price = it.Have+float64(s.Have), cmp.Or(it.Price, s.Price)
		}
	}
}

// wire adds a piece to cut.
func (b *billing) wire(w config.Wire, where, piece string) {
	if !w.Known() || w.Metres <= 0 {
		return
	}
	it := b.add(wireItem, w.String(), where, w.Metres)
	it.Have = 0
	for _, s := range b.stock.Wire {
		if sameWire(s.Wire, w) {
			it.Have, it.Price = it.Have+s.Have, cmp.Or(it.Price, s.Price)
		}
	}
	i := slices.IndexFunc(b.bill.Cuts, func(c Cut) bool { return c.Wire == it.What && c.Metres == w.Metres })
	if i < 0 {
		i = len(b.bill.Cuts)
		b.bill.Cuts = append(b.bill.Cuts, Cut{Wire: it.What, Metres: w.Metres})
	}
	b.bill.Cuts[i].Pieces++
	b.bill.Cuts[i].For = append(b.bill.Cuts[i].For, piece)
}

// feed adds all that a feed takes.
func (b *billing) feed(s *config.String, f *config.Feed) {
	if f.Supply == nil && f.FuseAmps <= 0 && !f.Wire.Known() {
		return
	}
	b.fuse(f.FuseAmps, s.Name)
	b.wire(f.Wire, s.Name, s.Name+" at "+f.At)
	it := b.add(connectorItem, "pair and fuse holder, for a feed", s.Name, 1)
	it.Have, it.Price = float64(b.stock.Connector.Have), b.stock.Connector.Price
}

// pixels is the item of a string's pixels, with what is to be kept as spare of them.
func (b *billing) pixels(s *config.String) *Item {
	what := strings.ToUpper(s.Chip.Name)
	if s.Chip.Name == config.ChipNone {
		what = "none: plain RGB"
	}
	if s.Volts > 0 {
		what += fmt.Sprintf(", %g V", s.Volts)
	}
	it := b.add(pixelsItem, what, s.Name, 0)
	it.Spare += sparePixels * pixelsOf(s)
	b.chips[it] = s.Chip.Name
	return it
}

func pixelsOf(s *config.String) float64 { return float64((s.Pixels + s.NullPixels) * max(s.Copies, 1)) }

// done reckons up what is to be bought.
func (b *billing) done() *Bill {
	order := []string{controllerItem, supplyItem, fuseItem, connectorItem, wireItem, dataItem, pixelsItem}
	slices.SortStableFunc(b.items, func(x, y *Item) int { return cmp.Compare(slices.Index(order, x.Kind), slices.Index(order, y.Kind)) })
	left := map[string]float64{} // spare pixels in hand, by chip
	for _, s := range b.stock.Pixels {
		left[strings.ToLower(s.Chip)] += float64(s.Have)
	}
	for _, it := range b.items {
		step := 1.0
		switch it.Kind {
		case wireItem, dataItem:
			it.Unit, it.Spare, step = "m", spareWire*it.Need, 0.1
		case pixelsItem:
			it.Spare = math.Ceil(it.Spare - 1e-9)
			chip := strings.ToLower(b.chips[it])
			it.Have = min(left[chip], it.Need+it.Spare) // of one chip at several volts the first takes them
			left[chip] -= it.Have
		}
		it.Need, it.Spare = tidy(it.Need), tidy(it.Spare)
		it.Buy = tidy(step * max(math.Ceil((it.Need+it.Spare-it.Have)/step-1e-6), 0))
		if it.Cost = math.Round(100*it.Buy*it.Price) / 100; it.Buy > 0 && it.Price == 0 {
			b.bill.Unpriced = append(b.bill.Unpriced, strings.TrimSpace(it.What+" "+it.Kind))
		}
		b.bill.Cost += it.Cost
		b.bill.Items = append(b.bill.Items, *it)
	}
	b.bill.Cost = math.Round(100*b.bill.Cost) / 100
	slices.SortStableFunc(b.bill.Cuts, func(x, y Cut) int {
		return cmp.Or(cmp.Compare(x.Wire, y.Wire), cmp.Compare(y.Metres, x.Metres))
	})
	return &b.bill
}

// tidy takes away what sums of decimal figures leave behind.
func tidy(v float64) float64 { return math.Round(v*1000) / 1000 }
