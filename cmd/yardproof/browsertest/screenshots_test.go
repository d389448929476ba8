package browsertest

import (
	"bytes"
	"flag"
	"image"
	"image/color"
	"image/png"
	"maps"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"yardproof/sacn/sacntest"

	"github.com/chromedp/chromedp"
)

var screenshots = flag.String("screenshots", "", "the directory to write the README's screenshots to")

// The README's pictures: go test -run Screenshots -screenshots ../../../testdata/screenshots .
// Each run checks that they can be made, are not blank and stay small.
func TestScreenshots(t *testing.T) {
	t.Parallel()
	d := demo(t, t.TempDir())
	for _, body := range []string{
		`{"string":"bandstand-roof-north","verdict":"good","stage":"hung"}`, `{"string":"bandstand-roof-south","verdict":"good","stage":"hung"}`,
		`{"string":"bandstand-rail","verdict":"fault","stage":"hung","seen":"dark after a pixel","last_lit":31}`,
		`{"string":"quay-rail-west","verdict":"good","stage":"hung"}`, `{"string":"gable-left","verdict":"good","stage":"hung"}`,
	} {
		d.prove(body)
	}
	for _, s := range sizes {
		p := open(t, d.base, s)
		for _, shot := range []struct{ name, script string }{
			{"prove", `document.querySelector("[data-to=strings]").click(); [...document.querySelectorAll("#list button")][7].click(); document.querySelectorAll("#halyard button")[3].click()`},
			{"ends", `document.getElementById("right").click()`},
			{"strings", `document.querySelector("[data-to=strings]").click()`},
			{"break", `document.querySelector("[data-to=find]").click(); document.getElementById("find-break").open = true`},
			{"half", `document.querySelector("#find-break button").click()`},
			{"yard", `document.querySelector("[data-to=yard]").click()`},
			{"night", `document.querySelector("[data-to=prove]").click(); document.querySelectorAll("#halyard button")[4].click(); document.getElementById("night").click()`},
		} {
			if s.name == "laptop" && shot.name != "prove" {
				continue
			}
			p.bring(shot.script)
			time.Sleep(time.Second) // the picture has come
			p.screenshot(s.name + "-" + shot.name)
		}
		if s.name == "phone" {
			p.tap("#night") // the browser remembers it
		}
	}
}

// screenshot keeps what is on the screen, where the README's pictures are wanted.
func (p *phone) screenshot(name string) {
	p.t.Helper()
	raw, err := chromedp.Run(p.ctx, chromedp.CaptureScreenshot())
	if err != nil {
		p.t.Fatal(err)
	}
	img, err := png.Decode(bytes.NewReader(raw))
	if err != nil {
		p.t.Fatal(err)
	}
	var small bytes.Buffer
	if err := (&png.Encoder{CompressionLevel: png.BestCompression}).Encode(&small, fewColours(img)); err != nil {
		p.t.Fatal(err)
	}
	if n := small.Len(); n < 10_000 || n > 120_000 {
		p.t.Errorf("%s is %d octets", name, n)
	}
	if *screenshots == "" {
		return
	}
	sacntest.Write(p.t, filepath.Join(*screenshots, name+".png"), small.Bytes())
}

// fewColours gives a picture a palette of its own, of the 256 colours that it has
// most of, which makes a page's picture a third as big.
func fewColours(img image.Image) image.Image {
	b := img.Bounds()
	count := map[color.RGBA]int{}
	at := func(x, y int) color.RGBA {
		c := color.RGBAModel.Convert(img.At(x, y)).(color.RGBA)
		return color.RGBA{c.R &^ 3, c.G &^ 3, c.B &^ 3, 255}
	}
	for y := b.Min.Y; y < b.Max.Y; y++ {
		for x := b.Min.X; x < b.Max.X; x++ {
			count[at(x, y)]++
		}
	}
	most := slices.SortedFunc(maps.Keys(count), func(p, q color.RGBA) int { return count[q] - count[p] })
	var palette color.Palette
	for _, c := range most[:min(256, len(most))] {
		palette = append(palette, c)
	}
	out := image.NewPaletted(b, palette)
	index := map[color.RGBA]uint8{}
	for y := b.Min.Y; y < b.Max.Y; y++ {
		for x := b.Min.X; x < b.Max.X; x++ {
			c := at(x, y)
			i, ok := index[c]
			if !ok {
				i = uint8(palette.Index(c))
				index[c] = i
			}
			out.SetColorIndex(x, y, i)
		}
	}
	return out
}
