package scan

import "yardproof/config"

// Block is the pixels that were lit, both counted; zero: none, the string was dark.
type Block struct {
	First int `json:"first,omitempty"`
	Last  int `json:"last,omitempty"`
}

// Reading is what the meter showed while a block was lit.
type Reading struct {
	Block
	Value float64 `json:"value"`
}

// drawn is the current of a block along a line.
type drawn struct {
	beyond []float64 // by node: amperes drawn there and beyond
	lost   float64   // volts, by the plan, from the supply to the last node
	share  float64   // two feeds: amperes times ohms, of which the first feed's are a part
	whole  float64
}

// drawn works out the currents of a block. What a pixel draws follows the volts that
// the plan would leave there.
func (l *Line) drawn(b Block) drawn {
	n := len(l.ohms)
	d := drawn{beyond: make([]float64, n+1)}
	follow := make([]float64, n)
	for k := range follow {
		follow[k] = 1
	}
	for pass := range 2 {
		for k := n - 1; k >= 0; k-- {
			d.beyond[k] = d.beyond[k+1] + l.idle[k]
			if at := l.pixel[k]; b.First > 0 && at >= b.First && at <= b.Last {
				d.beyond[k] += l.add[k] * follow[k]
			}
		}
		d.lost = l.ohms[0] * d.beyond[0]
		for k := range n {
			if k > 0 {
				d.lost += (l.ohms[k] - l.ohms[k-1]) * d.beyond[k]
			}
			if pass == 0 && l.whole == 0 {
				follow[k] = l.follows(d.lost / l.volts)
			}
		}
	}
	d.whole = d.beyond[0]
	for k := range n {
		d.share += (d.beyond[k] - d.beyond[k+1]) * (l.whole - l.ohms[k])
	}
	return d
}

// follows is what a load draws of its usual current when a share of the volts is lost.
func (l *Line) follows(lost float64) float64 {
	switch l.load {
	case config.LoadResistor:
		return max(0, 1-lost)
	case config.LoadPower:
		return 1 / max(0.5, 1-lost)
	}
	return 1
}

// reads is what the meter should show, as volts lost or as amperes, with a joint of so
// many ohms ahead of a node: 0 is the lead.
func (l *Line) reads(d drawn, joint int, ohms float64) float64 {
	if l.Quantity == Volts {
		return d.lost + ohms*d.beyond[joint]
	}
	before := d.whole - d.beyond[joint] // these see the joint on their way to the second feed
	return (d.share + ohms*before) / (l.whole + ohms)
}
