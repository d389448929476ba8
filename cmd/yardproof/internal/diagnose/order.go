package diagnose

import (
	"fmt"
	"strings"

	"yardproof/cmd/yardproof/internal/light"
	"yardproof/cmd/yardproof/internal/textout"
)

// What was seen for one slot: one of the letters R, G, B and W, or one of these.
const (
	None = "none" // nothing lights
	Two  = "two"  // two colours at once, or a mixture
)

// orderSeen is what is known when the colours of slots 1 to 3, or 4, have been seen
// by colour-order or one-slot, which send raw slots.
type orderSeen struct {
	Seen         []string // for each slot: R, G, B, W, [None] or [Two]
	PortSet      string   // the order set on the controller's port; "": not known
	PlanOrder    string   // the order in the plan; "": not known
	WhiteDerived bool     // the controller makes white from three channels
	NullPixels   int      // ahead of pixel 1, in the plan
}

// parseSeen reads the colours seen for slots 1, 2, 3 and perhaps 4: "GRB",
// "green red blue", "green, none, two".
func parseSeen(text string) ([]string, error) {
	words := strings.FieldsFunc(strings.ToUpper(text), func(r rune) bool { return strings.ContainsRune(" ,;/", r) })
	if len(words) == 1 {
		if _, ok := seenWord(words[0]); !ok {
			words = strings.Split(words[0], "")
		}
	}
	var seen []string
	for i, w := range words {
		s, ok := seenWord(w)
		if !ok {
			return nil, inputf("%.20q, seen for slot %d, is not a colour: write red, green, blue, white, none or two, one for each slot", w, i+1)
		}
		seen = append(seen, s)
	}
	if len(seen) != 3 && len(seen) != 4 {
		return nil, inputf("%s: write one for each slot, three or four", textout.Count(len(seen), "colour was given", "colours were given"))
	}
	return seen, nil
}

func seenWord(w string) (string, bool) {
	switch w {
	case "R", "RED":
		return "R", true
	case "G", "GREEN":
		return "G", true
	case "B", "BLUE":
		return "B", true
	case "W", "WHITE":
		return "W", true
	case "NONE", "DARK", "NOTHING", "-", ".":
		return None, true
	case "TWO", "BOTH", "MIXED", "?", "YELLOW", "CYAN", "MAGENTA", "PURPLE", "PINK":
		return Two, true
	}
	return "", false
}

// permutation reports whether s has each letter of RGB or of RGBW once.
func permutation(s string) bool {
	letters := "RGBW"
	if len(s) == 3 {
		letters = "RGB"
	}
	if len(s) != len(letters) {
		return false
	}
	for i := range len(letters) {
		if strings.Count(s, letters[i:i+1]) != 1 {
			return false
		}
	}
	return true
}

// portOrders deduces what to set on the port: set is the order set there now, seen
// the colours of slots 1 to n. Makers define an order setting in two inverse
// senses: that position i of a pixel is fed from the slot the i-th letter names,
// or that slot i goes to the position the i-th letter names. portOrders gives the
// answer for each; they are often the same.
func portOrders(set, seen string) (first, second string) {
	return compose(set, seen), invert(compose(invert(set), seen))
}

const slotLetters = "RGBW" // the names of slots 1 to 4

// compose is P[i] = seen[slot named set[i]].
func compose(set, seen string) string {
	p := make([]byte, len(set))
	for i := range p {
		p[i] = seen[strings.IndexByte(slotLetters, set[i])]
	}
	return string(p)
}

func invert(p string) string {
	q := make([]byte, len(p))
	for i := range q {
		q[strings.IndexByte(slotLetters, p[i])] = slotLetters[i]
	}
	return string(q)
}

// orderAnswer deduces the colour order, or says why there is none to deduce.
func orderAnswer(l orderSeen) (Answer, error) {
	n := len(l.Seen)
	if n != 3 && n != 4 {
		return Answer{}, inputf("colours are needed for three or four slots, not %d", n)
	}
	for _, o := range []struct{ what, order string }{{"the order set on the port", l.PortSet}, {"the plan's order", l.PlanOrder}} {
		if o.order != "" && !permutation(o.order) {
			return Answer{}, inputf("%s, %.20q, is not an order: write each letter of RGB, or of RGBW, once", o.what, o.order)
		}
	}
	if p := len(l.PlanOrder); p != 0 && p != n {
		return Answer{}, inputf("the plan has %d channels a pixel: write %d colours, one for each slot", p, p)
	}
	if a, broken := notAnOrder(l.Seen); broken {
		return a, nil
	}
	seen := strings.Join(l.Seen, "")
	a := Answer{Basis: Practice, Next: []string{}, Causes: []string{}}
	if l.PlanOrder == seen {
		a.Finding = "The slots show " + spelled(seen) + ", and that is what the plan says: the order is right."
		return a, nil
	}
	right := slotLetters[:n]
	if l.PlanOrder == "" && seen == right {
		a.Finding = "Slots 1, 2, 3 show " + spelled(seen) + ": the order is right."
		if n == 4 {
			a.Finding = "Slots 1, 2, 3, 4 show " + spelled(seen) + ": the order is right."
		}
		return a, nil
	}
	a.Wrong = true
	a.Finding = "The slots show " + spelled(seen) + " in this order."
	if l.PlanOrder != "" {
		a.Finding = fmt.Sprintf("The slots show %s in this order, and the plan says %s.", spelled(seen), l.PlanOrder)
	}
	a.Causes = []string{"the port or the plan has another colour order than these pixels", "it was corrected on the port and in the plan, so the two cancel"}
	a.PlanLines = []string{"order: " + seen}
	a.Next = append(a.Next, "Choose one place. In the plan: order: "+seen+", and leave the port as it is.")
	switch {
	case seen == right && l.PortSet == "":
		a.Next = append(a.Next, "Leave the port as it is and change only the plan.")
	case l.PortSet == "" || len(l.PortSet) != n:
		a.Next = append(a.Next, "Or on the port: set it to "+right+" first and look again. What you then see is the order to set on the port; in the plan write "+right+".")
	default:
		first, second := portOrders(l.PortSet, seen)
		a.Orders = []string{first}
		step := fmt.Sprintf("Or on the port, with order: %s in the plan: set it to %s", right, first)
		if first == l.PortSet {
			step = fmt.Sprintf("Or leave the port at %s and write order: %s in the plan", first, right)
		}
		if second != first {
			a.Orders = append(a.Orders, second)
			step += "; if the colours are then still wrong, to " + second + " (makers define the setting in two inverse senses). One at a time"
		}
		a.Next = append(a.Next, step+".")
	}
	if l.WhiteDerived {
		a.Next = append(a.Next, "The controller derives white, so the place of the white LED in the order cannot be seen this way. Leave it where it is, and check white by itself.")
	}
	a.Next = append(a.Next, "Check again with one-slot. Only then is it proved.")
	return a, nil
}

// notAnOrder answers for colours from which no order follows.
func notAnOrder(seen []string) (Answer, bool) {
	a := Answer{Wrong: true, Basis: Practice}
	slots := map[string][]string{}
	for i, s := range seen {
		slots[s] = append(slots[s], fmt.Sprint(i+1))
	}
	switch {
	case len(slots[Two]) > 0:
		a.Finding = "Slot " + textout.And(slots[Two]) + " lights two colours at once, so the order cannot be told."
		a.Causes = []string{"pixels of three and four channels are mixed up", "the port corrects colours, or derives white", "two neighbours were taken for one pixel: look closer, at 20 to 30 % level"}
		a.Next = []string{"Look with one-slot. Colours that repeat every 3 pixels mean four channels a pixel; every 4 pixels, three channels.", "Otherwise switch off what the port does to colours (correction, derived white) and look again."}
	case len(slots["W"]) > 0 && len(seen) == 3:
		return candy("One of three slots is white, so the pixels have four channels."), true
	case len(slots[None]) > 0:
		a.Finding = "Slot " + textout.And(slots[None]) + " lights nothing, so the order cannot be told."
		a.Causes = []string{"the LED of one colour is dead; likely in one pixel, not in a whole string", "the port has another number of channels a pixel", "the port ignores a slot, or derives white"}
		a.Next = []string{"Look with one-slot at several pixels. If one pixel lacks the colour, replace it. If all do, check the pixel type and its number of channels on the port."}
	default:
		for _, s := range []string{"R", "G", "B", "W"} {
			if len(slots[s]) > 1 {
				a.Finding = fmt.Sprintf("Slots %s cannot both be %s.", textout.And(slots[s]), light.Colour(s[0]))
				a.Causes = []string{"one of them was misread", "pixels of three and four channels are mixed up"}
				a.Next = []string{"Look again with one-slot, at 20 to 30 % level: glare makes colours look alike."}
				return a, true
			}
		}
		return a, false
	}
	return a, true
}

// candy answers for three and four channels mixed up.
func candy(finding string) Answer {
	return Answer{
		Finding: finding + " Three and four channels are mixed up, so the order cannot be told.",
		Wrong:   true,
		Causes:  []string{"three channels a pixel are sent to four-channel pixels, or four to three"},
		Next: []string{
			"Look with one-slot, slot 1. A picture that repeats every 3 pixels means four channels a pixel; every 4 pixels, three channels.",
			"Set the pixel type on the port and the order in the plan (RGB or RGBW, in some order) to that number of channels, then begin again.",
		},
		Basis: Practice,
	}
}

func spelled(seen string) string {
	names := make([]string, len(seen))
	for i := range names {
		names[i] = light.Colour(seen[i])
	}
	return strings.Join(names, ", ")
}
