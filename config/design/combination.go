package design

import (
	"cmp"
	"container/heap"
	"iter"
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

// compare puts the cheaper first, and of one price the smaller: it protects more.
func (c *combination) compare(o *combination) int {
	return cmp.Or(cmp.Compare(whole(c.price), whole(o.price)), cmp.Compare(c.sum, o.sum))
}

// whole is a price without what sums of decimal figures leave behind.
func whole(price float64) float64 { return math.Round(price * 1e9) }

// combinations yields one of each feed's fuses in every way, in their order. It makes
// none before it is asked for, since eight feeds with nine ratings have 43 million.
func combinations(fits [][]config.StockFuse) iter.Seq[combination] {
	return func(yield func(combination) bool) {
		sorted := make([][]config.StockFuse, len(fits))
		for i, list := range fits {
			sorted[i] = slices.Clone(list)
			slices.SortStableFunc(sorted[i], func(a, b config.StockFuse) int {
				return cmp.Or(cmp.Compare(whole(a.Price), whole(b.Price)), cmp.Compare(a.Amps, b.Amps))
			})
		}
		at := func(index []int, from int) *choice {
			c := &choice{index: index, from: from}
			for i, k := range index {
				c.take(sorted[i][k])
			}
			return c
		}
		waiting := &choices{at(make([]int, len(sorted)), 0)}
		for waiting.Len() > 0 {
			c := heap.Pop(waiting).(*choice)
			if !yield(c.combination) {
				return
			}
			for i := c.from; i < len(sorted); i++ { // not ahead of it: so each is come to once
				if c.index[i]+1 < len(sorted[i]) {
					index := slices.Clone(c.index)
					index[i]++
					heap.Push(waiting, at(index, i))
				}
			}
		}
	}
}

// A choice is a combination with where its fuses stand in their lists.
type choice struct {
	combination
	index []int
	from  int // the first that may go on
}

// choices are a heap.
type choices []*choice

func (h choices) Len() int           { return len(h) }
func (h choices) Less(i, j int) bool { return h[i].compare(&h[j].combination) < 0 }
func (h choices) Swap(i, j int)      { h[i], h[j] = h[j], h[i] }
func (h *choices) Push(x any)        { *h = append(*h, x.(*choice)) }

func (h *choices) Pop() any {
	last := len(*h) - 1
	x := (*h)[last]
	*h = (*h)[:last]
	return x
}
