package design

import (
	"cmp"
	"math"
	"slices"

	"yardproof/config"
)

// A combination of fuses, one for each feed.
type combination struct {
	amps  []float64
	price float64
	sum   float64
}

func (c *combination) take(f config.StockFuse) {
	c.amps, c.price, c.sum = append(c.amps, f.Amps), c.price+f.Price, c.sum+f.Amps
}

// combine lists the combinations below a price, by price and then by rating: the
// smaller fuse protects more.
func combine(fits [][]config.StockFuse, below float64) []combination {
	list := []combination{{}}
	for _, choices := range fits {
		var next []combination
		for _, c := range list {
			for _, f := range choices {
				if c.price+f.Price < below {
					next = append(next, combination{append(slices.Clone(c.amps), f.Amps), c.price + f.Price, c.sum + f.Amps})
				}
			}
		}
		list = next
	}
	slices.SortStableFunc(list, func(a, b combination) int {
		return cmp.Or(cmp.Compare(math.Round(a.price*1e9), math.Round(b.price*1e9)), cmp.Compare(a.sum, b.sum))
	})
	return list
}
