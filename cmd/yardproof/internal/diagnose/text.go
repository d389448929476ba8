package diagnose

import (
	"fmt"
	"io"
	"slices"
	"strings"

	"yardproof/cmd/yardproof/internal/diagnose/belief"
)

// Print writes an outcome as text.
func (o Outcome) Print(w io.Writer) error {
	var b strings.Builder
	if w := o.Weighed; w != nil && o.Answer != nil && (w.Next != nil || len(w.Work) > 0 && !w.Well) {
		a := *o.Answer
		a.Next = append(slices.Clone(a.Next), "Add what you find: "+howToAdd(w))
		o.Answer = &a
	}
	if a := o.Answer; a != nil {
		fmt.Fprintln(&b, a.Finding)
		numbered(&b, "Most likely causes first:", a.Causes)
		if len(a.Orders) > 0 {
			fmt.Fprintf(&b, "\nOn the port: %s\n", strings.Join(a.Orders, ", then "))
		}
		if len(a.PlanLines) > 0 {
			fmt.Fprintf(&b, "\nIn the plan:\n  %s\n", strings.Join(a.PlanLines, "\n  "))
		}
		numbered(&b, "Next:", a.Next)
		fmt.Fprintf(&b, "\n(%s)\n", a.Basis)
		if a.Caution != "" {
			fmt.Fprintln(&b, a.Caution)
		}
	}
	for i, s := range o.Symptoms {
		if i > 0 {
			fmt.Fprintln(&b)
		}
		fmt.Fprintf(&b, "%2d  %s\n", s.Number, s.Symptom)
		for k, c := range s.Causes {
			fmt.Fprintf(&b, "      %c %s\n", 'a'+k, c)
		}
		for _, t := range s.Test {
			fmt.Fprintf(&b, "    > %s\n", t)
		}
	}
	if len(o.Symptoms) > 0 {
		fmt.Fprintf(&b, "\n(%s)\n%s\n", Practice, Caution)
	}
	_, err := io.WriteString(w, b.String())
	return err
}

// howToAdd is the flag for the look that comes next.
func howToAdd(w *Weighed) string {
	switch {
	case w.Next == nil:
		return fmt.Sprintf("--look %s once that is done, then --look of what you see.", w.Mends[w.Work[0]])
	case len(w.Signs) > 0:
		return fmt.Sprintf("--look %s and one of %s; after a tail, a head or a pixel write @ and the last good pixel.", w.Ask, strings.Join(w.seen(), ", "))
	case w.Next.Test == belief.Amps:
		return fmt.Sprintf("--look %sDARK/WHITE in amperes.", w.Ask)
	}
	return fmt.Sprintf("--look %sVOLTS.", w.Ask)
}

// seen is what may be seen, as it is to be written, and in words where that says too little.
func (w *Weighed) seen() []string {
	all := slices.Clone(w.Signs)
	for i, words := range w.Says {
		if words != strings.ReplaceAll(all[i], "-", " ") {
			all[i] += " (" + words + ")"
		}
	}
	return all
}

func numbered(b *strings.Builder, title string, lines []string) {
	if len(lines) == 0 {
		return
	}
	fmt.Fprintf(b, "\n%s\n", title)
	for i, l := range lines {
		fmt.Fprintf(b, "  %d. %s\n", i+1, l)
	}
}
