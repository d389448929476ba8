package main

import (
	"fmt"
	"path/filepath"
	"strings"
	"testing"

	"yardproof/sacn/sacntest"
)

// TestPlanFromCSV checks that the plan made from rows is one, and that its
// problems are told at the cell.
func TestPlanFromCSV(t *testing.T) {
	dir := t.TempDir()
	for i, tt := range []struct {
		rows string
		code int
		want string // in what it says, after the file's name
	}{
		{"name,universe,pixels\ngable,1,50\n", 0, ""},
		{"\xef\xbb\xbfName\tUniverse\tPixels\ngable\t1\t50\n", 0, ""},
		{"name,universe,pixels\ngable,0,50\n", 1, ":2:7: error: string gable: universe cannot be 0"},
		{"pixels,name,universe\n50,gable,1\n50,ridge,1\n", 1, ":3:10: error: string ridge and string gable overlap"},
		{"name,universe,pixels,supply\ngable,1,50,a\n", 1, ":2:12: error: supply a: volts is missing"},
		{"name,universe\ngable,1\n", 1, `:1:1: the column "pixels" is missing`},
		{"name,universe,pixels,wheight\ngable,1,50,3\n", 0, `:1:22: warning: no plan has a column "wheight": it was kept as comments`},
		{"name,universe,pixels,name\ngable,1,50,3\n", 1, `:1:22: there are two columns "name"`},
		{"name,universe,pixels\ngable,1,50,3\n", 1, ":2:12: this cell has no column name above it"},
		{"name,universe,pixels\n", 1, ": there are no rows"},
		{"name,universe,pixels,address\ng,1,5,192.0.2.1\n", 1, `:2:7: controller_address "192.0.2.1" belongs to a controller, and this row names none`},
		{"name,universe,pixels,controller,address\ng,1,5,a,192.0.2.1\nh,2,5,a,\ni,3,5,a,192.0.2.2\n", 1, `:4:9: controller a has controller_address "192.0.2.2" here and "192.0.2.1" above`},
		{"name,universe,pixels,supply,supply_volts,supply_watts\ng,1,5,a,12,\nh,2,5,a,12,350\n", 0, ""}, // said in two rows
		{"", 1, ": there are no rows"},
		{"name,universe,pixels\n\"gable,1,50\n", 1, "look for a quote that is not closed"},
		{"name\tuniverse\tpixels\tport\tnull_pixels\nporch\t5\t50\t\t3000\n", 1, ":2:13: error: string porch: null_pixels cannot be 3000"}, // the empty cell counts
		{"name;universe;pixels;amps per pixel;fuse amps;flow;pitch awg;pitch inches\nporch;5;50;0,055;6,5 A;backward;18;3\n", 0, ""},
		{"name;universe;pixels;fuse_amps\nporch;5;50;7,5,5\n", 1, `:2:12: error: string porch: fuse_amps cannot be "7,5,5"; write it as a number`},
		{"name;universe;pixels;wire length\nporch;5;50;2,5\n", 0, ":1:22: warning: no plan has a column \"wire length\": it was kept as comments; leave it, or say which wire"},
		{"name;universe;pixels\nporch;5;1,700\n", 1, `:2:9: error: string porch: pixels cannot be "1,700"`}, // a thousand or a part: nobody knows
		{"Name,Start universe,Start channel,Count,Direction\nporch,5,4,50,forward\n", 0, ""},
		{"name,universe,pixels,feeds,feed awg,feed feet\nporch,5,50,start / end,14,10 / 20\n", 0, ""},
		{"name,universe,pixels,feeds,feed awg,feed feet\nporch,5,50,start / 20 / end,14,10 / 20\n", 1, ":2:32: feed_feet has 2 values and the string 3 feeds"},
		{"name,universe,pixels,feeds\nporch,5,50,start / middle\n", 1, `:2:12: error: string porch: feed 2: at cannot be "middle"`},
		{"name,universe,pixels\n\"a: b # c\",1,50\n'=x,2,50\nyes,3,50\n\"é\"\"\\\",4,50\n1e3,5,50\n", 0, ""},
	} {
		file := filepath.Join(dir, fmt.Sprintf("%d.csv", i))
		sacntest.Write(t, file, tt.rows)
		code, out, talk := call(t, "plan", "--from-csv", file)
		if code != tt.code || (tt.want == "" && talk != "no problems\n") || !strings.Contains(talk, tt.want) {
			t.Errorf("%q: code %d, says %q, want %d, %q", tt.rows, code, talk, tt.code, tt.want)
		}
		if code == 0 {
			plan := filepath.Join(dir, fmt.Sprintf("%d.yaml", i))
			sacntest.Write(t, plan, out)
			if code, _, talk := call(t, "plan", plan); code != 0 {
				t.Errorf("%q: its plan is refused: %s\n%s", tt.rows, talk, out)
			}
		}
	}
}

// TestPlanExample checks that the file to begin from is a plan without a problem.
func TestPlanExample(t *testing.T) {
	_, text, _ := call(t, "plan", "--example")
	file := sacntest.File(t, "mine.yaml", text)
	_, want, _ := call(t, "plan", "--demo")
	if code, out, talk := call(t, "plan", file); code != 0 || out != want || talk != demoVerdict {
		t.Errorf("code %d, says %q, and prints %s", code, talk, out)
	}
}
