package browsertest

import (
	"fmt"
	"net/url"
	"os/exec"
	"regexp"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"

	"yardproof/sacn/sacntest"
)

var pdfPage = regexp.MustCompile(`/Type\s*/Page\b`)

// On paper the settings of a controller of 16 ports are a page, and its labels and the
// cautions another.
func TestSheetOnPaper(t *testing.T) {
	t.Parallel()
	sacntest.NeedTool(t, chromium)
	var plan strings.Builder
	plan.WriteString("controllers: [{name: shed}]\nsupplies: [{name: main, volts: 12, watts: 1500}]\nstrings:\n")
	for n := range 16 {
		fmt.Fprintf(&plan, "  - {name: rail-%d, label: R%[1]d, controller: shed, port: %[1]d, universe: %[1]d, pixels: %[2]d, supply: main, fuse_amps: 5}\n", n+1, 50+n)
	}
	file := sacntest.File(t, "plan.yaml", plan.String())
	sheet, err := exec.Command(program, "plan", file, "--sheet", "shed", "--format", "html").Output()
	if err != nil {
		t.Fatal(err)
	}
	p := tab(t, browser, sizes[0])
	p.do(navigate("data:text/html;charset=utf-8," + url.PathEscape(string(sheet))))
	if rows := eval[int](p, `document.querySelectorAll(".ports tbody tr").length`); rows != 16 {
		t.Errorf("%d ports are in the table", rows)
	}
	css := true
	out, err := chromedp.Call(p.ctx, page.PrintToPDF, page.PrintToPDFParams{PreferCSSPageSize: &css})
	if err != nil {
		t.Fatal(err)
	}
	if n := len(pdfPage.FindAll(out.Data, -1)); n != 2 {
		t.Errorf("the sheet takes %d pages", n)
	}
}
