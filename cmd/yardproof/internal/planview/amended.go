package planview

import (
	"fmt"
	"strings"

	"yardproof/config/amend"
)

// amended is a change that is proposed of a plan's text.
type amended struct {
	Patch    string   `json:"patch"` // of the plan's text; "": nothing is to be changed
	Cautions []string `json:"cautions"`

	text *amend.Text
}

// amend takes the change of the text of a file.
func (a *amended) amend(patch func(file string, text []byte) (*amend.Text, error), file string, text []byte) (err error) {
	if a.text, err = patch(file, text); err != nil {
		return err
	}
	a.Patch = a.text.Diff(file)
	return nil
}

// Text is the plan's text with the change; nil when there is none.
func (a *amended) Text() []byte {
	if a.text == nil {
		return nil
	}
	return a.text.Bytes()
}

// print ends a proposal: the change comes last, so that patch takes it as it is.
func (a *amended) print(b *strings.Builder) {
	b.WriteString("\nCautions\n")
	for _, c := range a.Cautions {
		fmt.Fprintf(b, "  %s\n", c)
	}
	if a.Patch != "" {
		b.WriteString("\nThe change of the plan\n" + a.Patch)
	}
}
