package budget

// NetlistAtWorst draws a plan at full white, with wire, joints and pixels at the worst
// side of its tolerance, for tests of those that propose plans.
func NetlistAtWorst(b *Budget) string {
	least, _ := corners(b.plan.Tolerance)
	return netlist(b, false, least)
}

// NetlistOfChips draws a plan at full white as its chips take their current.
func NetlistOfChips(b *Budget) string { return netlist(b, true, plain()) }

// Node is what a node of these is called: of the rail p or n of a string.
func Node(rail string, s, k int) string { return node(rail, s, k) }
