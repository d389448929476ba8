package opening

import (
	"bufio"
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"net/http"
	"strings"
)

// Print prints the sheet as html or text.
func (s Sheet) Print(w io.Writer, format string) error {
	if format == "html" {
		return s.HTML(w)
	}
	return s.Text(w)
}

// Text prints the sheet for a terminal.
func (s Sheet) Text(w io.Writer) error {
	b := bufio.NewWriter(w)
	fmt.Fprintf(b, "Go or no-go, %s, printed %s\n%s: %s\n", s.Plan, s.Printed, strings.ToUpper(string(s.State)), s.Says)
	for _, p := range s.Parts {
		fmt.Fprintf(b, "\n%-5s  %s: %s.\n", p.State, p.Title, p.Says)
		for _, item := range p.Items {
			fmt.Fprintf(b, "       - %s\n", item)
		}
		if p.Do != "" {
			fmt.Fprintf(b, "       > %s\n", p.Do)
		}
	}
	fmt.Fprintln(b, "\nThis sheet knows what was recorded and heard, and no more. Weather, mains and people are yours to judge; local codes prevail.")
	return b.Flush()
}

var (
	//go:embed opening.html
	pageText string
	//go:embed opening.css
	style string

	page = template.Must(template.New("opening").Parse(pageText))
)

// HTML prints the sheet for paper: one file that names nothing outside itself.
func (s Sheet) HTML(w io.Writer) error { return s.html(w, template.CSS(style)) }

// html has the style in the page, or, where that is "", beside it.
func (s Sheet) html(w io.Writer, style template.CSS) error {
	out := bufio.NewWriter(w)
	if err := page.Execute(out, struct {
		Sheet
		Style template.CSS
	}{s, style}); err != nil {
		return err
	}
	return out.Flush()
}

// Handler serves the sheet of the moment, and its style.
func Handler(facts func() Facts) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Cache-Control", "no-store")
		if strings.HasSuffix(r.URL.Path, ".css") {
			w.Header().Set("Content-Type", "text/css; charset=utf-8")
			io.WriteString(w, style)
			return
		}
		w.Header().Set("Content-Type", "text/html; charset=utf-8")
		if err := New(facts()).html(w, ""); err != nil {
			http.Error(w, "the sheet failed: "+err.Error(), http.StatusInternalServerError)
		}
	})
}
