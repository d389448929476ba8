package guide

import (
	"fmt"
	"io"
)

// WritePower writes how plan --propose finds feeds and ports, and what it asks of a plan.
func WritePower(w io.Writer) {
	fmt.Fprint(w, "yardproof plan PLAN --propose finds feeds at least cost for strings whose feeds are missing, too weak or without\n"+
		"protection. --string NAME: for that one, whatever it is. --propose ports finds the fewest plugs to move.\n"+
		"It helps a licensed person decide. It releases nothing.\n\nWhat the plan has to say:\n\n")
	for _, e := range []struct{ key, does string }{
		{"pitch, amps_per_pixel", "of each string: the wire from pixel to pixel, and what a pixel draws at full white"},
		{"volts or supply", "what the string is made for, or a supply of those volts"},
		{"at, to", "where a string begins and ends, and where supplies and feeders are: metres along a route (at: 12), or places in metres (at: [3, 0.5]). A lead goes straight to its place; without to: it goes to where the string begins, and along it. A feed that the plan has tells the length too"},
		{"feed_points", "the pixels at which one can cut in; the ends and both sides of jumpers always count. Without: any pixel"},
		{"stock", "wire, fuses and supplies with prices, and what is in hand; without, a list of what is commonly sold, at prices of no shop"},
	} {
		writeEntry(w, e.key, e.does)
	}
	fmt.Fprint(w, "\nWhat holds of every proposal:\n\n")
	for _, e := range []struct{ key, does string }{
		{"volts", "every pixel has its lowest volts at --level, with wire, joints and pixels at the worst side of the plan's tolerance"},
		{"fuses", "each carries its share for long, and protects the wire behind it"},
		{"faults", "nothing in the section Protection of yardproof plan is said of it"},
		{"--lose-a-feed", "volts and fuses hold with any one feed lost as well, by the plan's own figures"},
		{"feeds", "half a metre apart at least (common practice, no source), up to eight a string, from today's supply, its feeder or the two nearest others; a supply is added where none has room"},
	} {
		writeEntry(w, e.key, e.does)
	}
	fmt.Fprint(w, "\n\"Today\" says what is wrong now; \"Cheaper and refused\" which cheaper choice was tried, and which limit it breaks.\n"+
		"Where time runs out (--seconds) it says by how much the cheapest may be below what is proposed. What does not hold is never proposed.\n"+
		"Costs are of leads, feeders, fuses, connectors and new supplies, those that hang already too; work is not counted.\n"+
		"The bill adds a tenth of the wire and one pixel in twenty as spare (common practice, no source), and takes off what is in hand.\n"+
		"plan --bill does so for the whole plan.\n\n"+
		"--write puts the changed lines into the plan's file; comments stay. Without it they are printed last, as a patch:\n"+
		"yardproof plan street.yaml --propose | patch -p0\n")
}
