package guide

import (
	"fmt"
	"io"

	"yardproof/patterns"
)

// WritePatterns writes what each pattern shows and proves.
func WritePatterns(w io.Writer) {
	fmt.Fprint(w, "The patterns, in the order of an evening:\n\n")
	for _, p := range patterns.All() {
		writeEntry(w, p.Name, p.Does+".")
	}
	fmt.Fprint(w, "\nNo pixel and no string as a whole flashes more than three times in a second (WCAG 2.3.1, by analogy).\n"+
		"No pattern is shown above the level that the plan's fuses and supplies allow; where one is not known, 30 % unless --level is given.\n"+
		"yardproof plan PLAN --string NAME --picture PATTERN draws one.\n")
}
