package main

import (
	"bytes"
	"os"
	"strings"
	"testing"

	"yardproof/cmd/yardproof/internal/burnin"
	"yardproof/cmd/yardproof/internal/program"
	"yardproof/sacn/sacntest"
)

// Exit codes, for scripts.
const (
	exitFine  = 0
	exitFound = 1 // something was found wrong, or went wrong
	exitUsage = 2 // the command was called in a wrong way
)

// TestMain lets the test binary stand in for the program, so that tests run the
// real thing, race detector included, as a process of its own.
func TestMain(m *testing.M) {
	if os.Getenv(sacntest.AsProgram) != "" {
		os.Exit(yardproof().Main())
	}
	os.Exit(sacntest.Run(m))
}

// call runs the program inside the test and returns what it printed.
func call(t *testing.T, args ...string) (code int, stdout, stderr string) {
	t.Helper()
	var out, talk bytes.Buffer
	code = yardproof().Run(t.Context(), program.Stdio{Out: &out, Err: &talk}, args)
	return code, out.String(), talk.String()
}

func TestWrongUse(t *testing.T) {
	dir := t.TempDir()
	file := func(name, text string) string {
		t.Helper()
		path := dir + "/" + name
		sacntest.Write(t, path, text)
		return path
	}
	overlap := file("overlap.yaml", "strings:\n  - {name: a, universe: 1, pixels: 50}\n  - {name: b, universe: 1, channel: 150, pixels: 1}\n")
	unknown := file("unknown.yaml", "strings:\n  - {name: a, univers: 1, pixels: 50}\n")
	late := file("late.yaml", "strings:\n  - {name: a, universe: 1, channel: 513, pixels: 50}\n")
	state := t.TempDir()
	for _, tt := range []struct {
		args string
		code int
		want string // a part of what it says
	}{
		{"", 2, "usage: yardproof COMMAND"},
		{"frob", 2, `unknown command "frob"; yardproof --help lists them`},
		{"pln", 2, `unknown command "pln"; did you mean "plan"?`},
		{"main.go", 2, `unknown command "main.go"; a command comes before a file: yardproof plan main.go`},
		{"help pln", 2, `"pln" is neither a command nor a topic; did you mean "plan"?`},
		{"help plan run", 2, `"run" is an unexpected argument`},
		{"run --pattrn walk", 2, "unknown flag --pattrn; did you mean --pattern?"},
		{"run --demo --tls-cert c.pem", 2, "--tls-cert and --tls-key go together"},
		{"run --demo --tls-cert none.pem --tls-key none.pem", 2, "what to do: name a certificate and its key"},
		{"manual --format bash", 2, "unknown flag: --format"},
		{"completion", 2, "name a shell: bash, zsh or fish"},
		{"completion csh", 2, "there are bash, zsh and fish"},
		{"version extra", 2, `unexpected argument "extra"`},
		{"run --demo --no-look", 2, "--no-look is now --no-scan"},
		{"burn-in --controllers=a plan.yaml", 2, "--controllers is now --only-controllers"},
		{"run --frob", 2, "unknown flag: --frob\n  what to do: yardproof run --help lists the flags\n"},
		{"run", 2, "name one plan file, or give --demo"},
		{"run a b", 2, "name one plan file"},
		{"run --demo plan.yaml", 2, "give one of: a plan, --demo"},
		{"run " + dir + "/none.yaml", 2, "there is no plan"},
		{"run " + dir, 2, "is a directory"},
		{"run " + overlap, 1, overlap + ":3:"},
		{"run " + unknown, 1, unknown + ":2:"},
		{"run " + late, 1, late + ":2:"},
		{"run --universe 0 --pixels 50 --interface lo", 1, "universe cannot be 0; give 1 to 63999"},
		{"run --universe 1 --interface lo", 1, "--pixels is missing; count the pixels of the string"},
		{"run --universe 64000 --pixels 50 --interface lo", 1, "universe cannot be 64000"},
		{"run --universe 1 --pixels 50", 2, "there are lo (127.0.0.1)"},
		{"run --universe 1 --pixels 50 --interface nope9", 2, `there is no interface "nope9"; there are lo (127.0.0.1)`},
		{"run --demo --pattern rainbow", 2, "it can be block, code, colour-order, dark, "},
		{"run --demo --string mast", 2, `string "mast" cannot be shown`},
		{"run --demo --string A3", 2, `A3 is the tag of "bandstand-rail"`},
		{"rehearse --demo --fault dead~pixel,bandstand-rial,9", 2, `no string "bandstand-rial"; did you mean "bandstand-rail"?`},
		{"run --demo --level 120", 2, "a level is 0 to 100 %"},
		{"run --demo --level NaN", 2, "a level is 0 to 100 %"},
		{"run --demo --rate 60", 2, "44.1 frames a second"},
		{"run --demo --rate NaN", 2, "rate NaN is outside"},
		{"run --demo --for 0s", 2, "--for 0s: it must be above 0"},
		{"burn-in x.yaml --for 30", 2, "--for cannot be \"30\"\n  what to do: write a time with its unit, such as 30s"},
		{"burn-in x.yaml --hours 1m", 2, "--hours cannot be \"1m\"\n  what to do: write a number, such as 2.5"},
		{"diagnose --amps 2,1", 2, "with a point"},
		{"diagnose --last-lit ten", 2, "write a whole number"},
		{"run --demo --for -1s", 2, "--for -1s: it must be above 0"},
		{"burn-in x.yaml --for -1s", 2, "--for -1s: it must be above 0"},
		{"run --demo --hold -1s", 2, "--hold -1s"},
		{"run --demo --slot -1", 2, "--slot -1"},
		{"run --demo --pattern one-slot --slot 5", 2, "slot 5 cannot be shown"},
		{"run --demo --pattern half --pixel 500", 2, "pixel 500 cannot be shown"},
		{"run --demo --pixel 5", 2, "--pixel is for --pattern half; walk takes none"},
		{"run --demo --hold 2m", 2, "at most 1m0s"},
		{"run --demo --http 9531", 2, "write it as 127.0.0.1:9531"},
		{"run --demo --http 10.99.0.1", 2, "write it as 10.99.0.1:9531"},
		{"run --demo --http ::1", 2, "write it as [::1]:9531"},
		{"link --state " + state, 1, "no page was served from " + state + " yet; start yardproof run"},
		{"report --state " + state + "/none", 1, "there is no record yet in " + state + "/none: prove a string first"},
		{"phones --state " + state + " revok", 2, `yardproof phones revoke "anna's phone"`},
		{"run --demo --http :9531", 2, "names no address"},
		{"run --demo --host-name quay/laptop", 2, "is not a host name"},
		{"run --universe 1 --pixels 1000000 --interface lo", 1, "give 1 to 100000"},
		{"run --demo --http 127.0.0.1:99999", 2, "is not an address with a port"},
		{"rehearse", 2, "name one plan file, or give --demo"},
		{"rehearse --demo plan.yaml", 2, "give one of: a plan, --demo"},
		{"rehearse --demo --hidden 11", 2, "hide 0 to 10"},
		{"rehearse --demo --fault fog,bandstand-rail", 2, "yardproof help faults"},
		{"rehearse --demo --fault supply~off,mast", 2, `no string "mast"`},
		{"run --demo --http 192.0.2.77:9531", 1, "what to do: name an address of this computer; it has 127.0.0.1"},
	} {
		args := strings.Fields(tt.args) // a ~ stands for a space
		for i, a := range args {
			args[i] = strings.ReplaceAll(a, "~", " ")
		}
		if strings.HasPrefix(tt.args, "run ") {
			args = append([]string{"run", "--state", state, "--for", "1s"}, args[1:]...)
		}
		code, stdout, stderr := call(t, args...)
		if code != tt.code || !strings.Contains(stderr, tt.want) {
			t.Errorf("%q: exit %d, want %d; said %q, want %q", tt.args, code, tt.code, stderr, tt.want)
		}
		if stdout != "" {
			t.Errorf("%q: printed %q to stdout", tt.args, stdout)
		}
		if strings.Contains(stderr, "packets, skipped") {
			t.Errorf("%q: something was sent", tt.args)
		}
	}
}

func TestHelp(t *testing.T) {
	code, stdout, _ := call(t, "--help")
	if code != 0 {
		t.Errorf("--help: exit %d", code)
	}
	for _, c := range yardproof().All() {
		if !strings.Contains(stdout, c.Name) {
			t.Errorf("--help does not name %s", c.Name)
		}
		code, text, stderr := call(t, c.Name, "--help")
		if _, same, _ := call(t, "help", c.Name); !strings.HasPrefix(same, text) {
			t.Errorf("help %s prints another text than %[1]s --help", c.Name)
		}
		if code != 0 || stderr != "" || !strings.HasPrefix(text, "usage: yardproof "+c.Name) {
			t.Errorf("%s --help: exit %d, %q, %q", c.Name, code, text, stderr)
		}
	}
}

func TestTopics(t *testing.T) {
	for topic, want := range map[string][]string{
		"patterns": {"colour-order", "three times in a second"},
		"plan":     {"usage: yardproof plan", "amps_per_pixel", "at full white", "[required]"},
		"power":    {"--lose-a-feed", "feed_points", "It releases nothing.", "plan --bill does so"},
		"film":     {"usage: yardproof film", "nobody stands on a ladder to film, or while you film", "kept only with --still, --keep-picture"},
		"metrics":  {"yardproof_frames_sent_total", "yardproof_listener_packets_lost_total{cid, universe}", "absent, never 0"},
		// In the words that the program itself uses.
		"evidence": {burnin.Served{Served: 1}.Evidence(), burnin.Served{Served: 1, Measured: 1}.Evidence(), " packets were refused", "held dark by ", "the streams are terminated", "does not prove"},
		"api":      {"POST /api/show", "RFC 9457"},
	} {
		code, text, _ := call(t, "help", topic)
		for _, w := range want {
			if code != 0 || !strings.Contains(text, w) {
				t.Errorf("help %s: exit %d, lacks %q", topic, code, w)
			}
		}
	}
}

func TestVersion(t *testing.T) {
	code, stdout, _ := call(t, "version")
	if code != 0 || !strings.HasPrefix(stdout, "yardproof devel, commit ") || !strings.Contains(stdout, "go1.") {
		t.Errorf("exit %d, %q", code, stdout)
	}
}
