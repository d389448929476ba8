package guide

import (
	"fmt"
	"io"
	"slices"
	"strings"

	"yardproof/config"
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

// WritePlan writes every key of a plan.
func WritePlan(w io.Writer) {
	fmt.Fprint(w, "The plan is a YAML file; one that begins with { is read as JSON. Every key, with its default in brackets:\n\n")
	writeKeys(w, config.Keys(), "")
	fmt.Fprint(w, "\nNumbers may have their unit: 5A, 60 %, 3 m, 76 mm. What is left out and has no default is not known, and said so.\n"+
		"Top-level keys that begin with x- are yours: anchors for YAML's merge.\n"+
		"yardproof plan --example prints a plan to begin from; yardproof plan --schema lets an editor complete the keys.\n")
}

func writeKeys(w io.Writer, keys []*config.Key, indent string) {
	for _, k := range keys {
		text := k.Does
		if k.Kind == config.KeyWord {
			text += ": " + strings.Join(slices.DeleteFunc(slices.Clone(k.Words), func(w string) bool { return w == "" }), ", ")
		}
		if k.Unit != "" && k.Unit[0] != '(' && !strings.Contains(text, k.Unit) {
			text += ", " + k.Unit
		}
		switch {
		case k.Required:
			text += " [required]"
		case k.Default != "":
			text += " [" + k.Default + "]"
		}
		writeEntry(w, indent+k.Name, text)
		writeKeys(w, k.Keys, indent+"  ")
	}
}
