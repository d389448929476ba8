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
		"full-white and block end by themselves: after 15 s, or what --hold says, 60 s at most. On the page, for a proof or a meter reading, they last 60 s.\n"+
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

// A Topic is a part of the reference, made from the code itself.
type Topic struct {
	Name  string
	Write func(io.Writer)
}

// Find returns what to print for a word: the help of the command of that name,
// the topic of that name, or both. The error says what it may have been meant for.
func Find(word string, commands []Command, topics []Topic) (func(io.Writer), error) {
	var parts []func(io.Writer)
	var words []string
	for _, c := range commands {
		if words = append(words, c.Name); c.Name == word {
			parts = append(parts, func(w io.Writer) { WriteHelp(w, c) })
		}
	}
	for _, t := range topics {
		if words = append(words, t.Name); t.Name == word {
			parts = append(parts, t.Write)
		}
	}
	if len(parts) == 0 {
		hint := "yardproof --help lists the commands and topics"
		if near := config.Nearest(word, words); near != "" {
			hint = fmt.Sprintf("did you mean %q?", near)
		}
		return nil, fmt.Errorf("%q is neither a command nor a topic; %s", word, hint)
	}
	return func(w io.Writer) {
		for i, part := range parts {
			if i > 0 {
				fmt.Fprintln(w)
			}
			part(w)
		}
	}, nil
}
