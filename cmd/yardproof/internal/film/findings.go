package film

import (
	"fmt"

	"yardproof/cmd/yardproof/internal/textout"
)

// find names what is wrong with a string as a whole, each thing once.
func (j *judged) find(main []seen) {
	n := len(j.first)
	add := func(f Finding) { j.findings = append(j.findings, f) }
	if len(main) < 3 {
		add(Finding{Kind: KindUnseen, Says: "Nothing of it was read.",
			Do: "Film it from nearer, or from another side. If it is dark, look at its power and its data."})
		return
	}
	switch h := j.how; h.kind {
	case KindStart:
		way := "later"
		if h.count < 0 {
			way = "earlier"
		}
		add(Finding{Kind: KindStart, Sure: true, Count: h.count,
			Says: fmt.Sprintf("It answers addresses %s %s than planned: its first pixel shows %s.", textout.Count(max(h.count, -h.count), "channel"), way, j.yard.channel(h.first[0])),
			Do:   fmt.Sprintf("Set its start to %s on the port.", j.yard.channel(j.first[0]))})
	case KindPacking:
		add(Finding{Kind: KindPacking, Sure: true,
			Says: "From its second universe on its pixels lie at other channels than planned: one fills all 512 channels of a universe, the other does not.",
			Do:   "Set the controller's packing as the plan has it, or correct pack in the plan."})
	case KindReversed:
		add(Finding{Kind: KindReversed, Sure: true, Says: "Its last address is at its first pixel.",
			Do: "Turn its direction round on the port, or correct flow in the plan."})
	case KindNulls:
		more := "more"
		if h.count < 0 {
			more = "fewer"
		}
		k := max(h.count, -h.count)
		add(Finding{Kind: KindNulls, Sure: true, Count: h.count,
			Says: fmt.Sprintf("The port skips %s at the start than it should.", textout.Count(k, more+" null pixel")),
			Do:   "Correct the null pixels on the port."})
	case KindSwapped:
		other := j.yard.strings[h.other].Name
		add(Finding{Kind: KindSwapped, Sure: true, Other: other,
			Says: fmt.Sprintf("It answers the addresses of %s.", other), Do: "Swap the two at the controller."})
	}
	if planned := max(1, j.Copies); j.copies != planned {
		add(Finding{Kind: KindCopies, Sure: true, Count: j.copies,
			Says: fmt.Sprintf("%s each address, and the plan has %d.", textout.Count(j.copies, "pixel")+verb(j.copies, " shows", " show"), planned),
			Do:   "Correct the copies on the port."})
	} else {
		j.ends(main, n)
	}
	if j.colours.absent != "" {
		add(Finding{Kind: KindColour, Sure: true, Says: fmt.Sprintf("No pixel of it shows %s.", colourNames(j.colours.absent)),
			Do: "Look whether the port has as many colours as the string, and at its supply."})
	}
	if o := j.colours.order; o != "" {
		add(Finding{Kind: KindOrder, Sure: true, Other: string(o),
			Says: fmt.Sprintf("Its colours come in the order %s, and the plan has %s.", o, j.Order),
			Do:   "Correct the order of colours on the port, or order in the plan."})
	}
	for _, i := range j.doubles() {
		f := Finding{Kind: KindDouble, Says: "Its addresses are seen at two places.",
			Do: "One may be a reflection. If both are strings, give one of them another start."}
		if i >= 0 {
			f.Other = j.yard.strings[i].Name
		}
		add(f)
	}
}

func verb(n int, one, many string) string {
	if n == 1 {
		return one
	}
	return many
}

// ends says which addresses at the ends are not seen, or seen beyond them.
func (j *judged) ends(main []seen, n int) {
	addresses := map[int]bool{}
	for _, l := range main {
		addresses[l.first] = true
	}
	head, tail, beyond := 0, 0, 0
	for head < n && !addresses[j.how.first[head]] {
		head++
	}
	for tail < n-head && !addresses[j.how.first[n-1-tail]] {
		tail++
	}
	for head > 0 && j.stuckOn(head-1) {
		head-- // it is seen: it shows no address, since it is stuck
	}
	for tail > 0 && j.stuckOn(n-tail) {
		tail--
	}
	if j.how.kind == "" {
		for addresses[j.first[n-1]+(beyond+1)*j.slots] {
			beyond++
		}
	}
	if j.how.kind == KindNulls {
		return // its ends follow from it
	}
	if head > 0 {
		j.findings = append(j.findings, Finding{Kind: KindHead, Count: head,
			Says: "Nothing is seen of its first " + several(head) + ".",
			Do:   "If something ahead of the first pixel takes data, set so many more null pixels on the port. Else look whether the beginning is hidden or dark."})
	}
	if tail > 0 {
		j.findings = append(j.findings, Finding{Kind: KindTail, Count: tail,
			Says: "Nothing is seen of its last " + several(tail) + ".",
			Do:   "Check the count and the null pixels on the port. Else look whether the end is hidden or dark."})
	}
	if beyond > 0 {
		j.findings = append(j.findings, Finding{Kind: KindLonger, Sure: true, Count: beyond,
			Says: fmt.Sprintf("%s more than planned %s.", textout.Count(beyond, "pixel"), verb(beyond, "is lit", "are lit")),
			Do:   "Correct its count: pixels in the plan, or the count on the port."})
	}
}

func (j *judged) stuckOn(k int) bool {
	_, ok := j.shine[k]
	return ok
}

func several(addresses int) string {
	if addresses == 1 {
		return "address"
	}
	return textout.Count(addresses, "", "addresses")
}

// doubles are runs elsewhere that show many of the string's addresses: -1, or the string
// that is not seen else.
func (j *judged) doubles() []int {
	count, mine := map[int]int{}, map[int]bool{}
	for _, f := range j.lights {
		mine[f.light] = true
	}
	for _, a := range j.first {
		for _, i := range j.places[a] {
			if !mine[i] && j.string[i] < 0 {
				count[j.run[i]]++
			}
		}
	}
	for _, n := range count {
		if n >= max(3, len(j.first)*4/10) {
			return []int{-1}
		}
	}
	return nil
}

func (j *judged) result() String {
	s := String{Name: j.Name, Findings: j.findings, Pixels: len(j.first)}
	if s.Findings == nil {
		s.Findings = []Finding{}
	}
	for _, l := range j.by {
		if l != nil {
			s.Seen++
		}
	}
	return s
}
