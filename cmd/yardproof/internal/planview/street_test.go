package planview

import (
	"encoding/csv"
	"strings"
	"testing"

	"yardproof/cmd/yardproof/internal/planfile"
)

func street(t *testing.T) *View {
	t.Helper()
	c, err := planfile.Read("../../../../testdata/plans/street.yaml")
	if err != nil || c.Errors() > 0 {
		t.Fatal(err, c.Problems)
	}
	return New(c)
}

// The bill of the street, added up by hand from its plan.
func TestBill(t *testing.T) {
	want := [][]string{
		{"item", "what", "quantity", "spare", "in hand", "to buy", "unit", "price", "cost", "for"},
		{"controller", "E1.31 pixel controller", "3", "0", "0", "3", "", "", "", "bandstand, boathouse, lighthouse"},
		{"supply", "12 V, 350 W", "2", "0", "1", "1", "", "38.00", "38.00", "bandstand-a, boathouse-b"},
		{"supply", "12 V, 600 W", "1", "0", "0", "1", "", "", "", "boathouse-a"},
		{"supply", "5 V, 300 W", "1", "0", "0", "1", "", "", "", "lighthouse-a"},
		{"supply", "24 V, 240 W", "1", "0", "0", "1", "", "", "", "floods"},
		{"fuse", "25 A, DC-rated", "1", "0", "0", "1", "", "", "", "quay-box"},
		{"fuse", "5 A, DC-rated", "5", "0", "20", "0", "", "0.40", "", "roof, rail"}, // two of roof's three feeds, rail's three
		{"fuse", "4 A, DC-rated", "1", "0", "0", "1", "", "", "", "roof"},
		{"fuse", "7.5 A, DC-rated", "3", "0", "0", "3", "", "0.40", "1.20", "spiral, flood"}, // both ends of spiral, flood
		{"fuse", "3 A, DC-rated", "1", "0", "0", "1", "", "", "", "lantern"},
		{"connector", "pair and fuse holder, for a feed", "10", "0", "10", "0", "", "1.20", "", "roof, rail, spiral, lantern, flood"}, // 3, 3, 2, 1, 1
		{"wire", "6 mm2 copper", "6", "0.6", "0", "6.6", "m of two conductors", "", "", "quay-box"},
		{"wire", "16 AWG copper", "9", "0.9", "40", "0", "m of two conductors", "0.90", "", "roof"},                     // 3 + 6
		{"wire", "14 AWG copper", "35", "3.5", "0", "38.5", "m of two conductors", "", "", "roof, rail, spiral, flood"}, // 12, 1 + 12, 1 + 1, 8
		{"wire", "12 AWG copper-clad aluminium", "4", "0.4", "0", "4.4", "m of two conductors", "", "", "rail"},
		{"wire", "22 milliohm/m copper", "4", "0.4", "0", "4.4", "m of two conductors", "", "", "rail"}, // the jumper, of the pitch's wire
		{"data lead", "data and return", "2", "0.2", "0", "2.2", "m", "", "", "roof"},
		{"pixels", "WS2811, 12 V", "393", "20", "10", "403", "", "", "", "roof, rail"},        // 200 + 1 null, 190 + 2 null; a twentieth is 19.65
		{"pixels", "SK6812-RGBW, 5 V", "170", "9", "0", "179", "", "", "", "spiral, lantern"}, // 130, 20 shown twice each; 8.5
		{"pixels", "none: plain RGB, 24 V", "1", "1", "0", "2", "", "", "", "flood"},
		{"pixels", "WS2811", "50", "3", "0", "53", "", "", "", "spare"}, // the 10 in hand are spoken for
	}
	var b strings.Builder
	if err := street(t).Bill(&b, "csv"); err != nil {
		t.Fatal(err)
	}
	got, err := csv.NewReader(strings.NewReader(b.String())).ReadAll()
	if err != nil || len(got) != len(want) {
		t.Fatalf("%d lines, want %d, %v:\n%s", len(got), len(want), err, b.String())
	}
	for i := range want {
		if g, w := strings.Join(got[i], "|"), strings.Join(want[i], "|"); g != w {
			t.Errorf("line %d is %s, want %s", i+1, g, w)
		}
	}
}

// Where strings begin and end and what a universe holds, worked out by hand from
// 512 slots a universe (E1.31 7.6: at most 513 property values with the start code;
// from memory).
func TestSheet(t *testing.T) {
	v := street(t)
	for _, tt := range []struct{ controller, of, setting, want string }{
		// 170 whole pixels of 3 fill 510 channels; 30 of the 200 are left, 90 channels.
		{"bandstand", "roof", "ends at", "universe 2, channel 90"},
		{"bandstand", "roof", "a universe holds", "510 channels, 170 whole pixels"},
		{"bandstand", "roof", "null pixels ahead of them", "1"},
		{"bandstand", "roof", "turns back", "never"},
		{"bandstand", "roof", "pixel 1 is", "at the data end"},
		// 192 pixels, nulls included, are 576 channels: 503 from channel 10 on, 73 are left.
		{"boathouse", "rail", "begins at", "universe 1, channel 10"},
		{"boathouse", "rail", "ends at", "universe 2, channel 73"},
		{"boathouse", "rail", "a universe holds", "512 channels, pixels may span two"},
		{"boathouse", "rail", "null pixels ahead of them", "0"},
		{"boathouse", "rail", "turns back", "every 10 pixels"},
		{"boathouse", "rail", "pixel 1 is", "at the far end: the port counts backward"},
		{"boathouse", "rail", "brightness", "70 %"},
		{"boathouse", "", "when data stops", "it holds the last picture: a dead laptop leaves the lights burning"},
		// 128 whole pixels of 4 fill 512 channels; 2 of the 130 are left, 8 channels.
		{"lighthouse", "spiral", "ends at", "universe 2, channel 8"},
		{"lighthouse", "spiral", "a universe holds", "512 channels, 128 whole pixels"},
		{"lighthouse", "spiral", "white", "sent, on a channel of its own"},
		{"lighthouse", "lantern", "pixels that show one address", "2"},
		{"lighthouse", "lantern", "colour order", "GRBW"},
		{"lighthouse", "lantern", "the plan sends", "RGB"},
		{"lighthouse", "lantern", "white", "made by the controller out of R, G and B"},
	} {
		var b strings.Builder
		if err := v.Sheet(&b, tt.controller, "csv"); err != nil {
			t.Fatal(err)
		}
		rows, err := csv.NewReader(strings.NewReader(b.String())).ReadAll()
		if err != nil {
			t.Fatal(err)
		}
		got := ""
		for _, r := range rows {
			if r[2] == tt.of && r[4] == tt.setting {
				got = r[5]
			}
		}
		if got != tt.want {
			t.Errorf("%s, string %q, %s: %q, want %q", tt.controller, tt.of, tt.setting, got, tt.want)
		}
	}
}
