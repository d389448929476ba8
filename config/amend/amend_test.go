package amend

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"go.yaml.in/yaml/v3"

	"yardproof/sacn/sacntest"
)

// Each text is changed as asked; everything else in it stands as it stood.
func TestAmend(t *testing.T) {
	feeds := []Item{{"{at: start, awg: 16}", 0}, {"{at: end, awg: 14}", -1}}
	for _, c := range []struct {
		name, old, want string
		do              func(*Text)
	}{
		{"a key of a line", "strings:\n  - {name: a, pixels: 5} # by the door\n", "strings:\n  - {name: a, pixels: 5, feeds: [{at: start, awg: 16}, {at: end, awg: 14}]} # by the door\n", set(feeds)},
		{"a list in a block", "strings:\n  - name: a # tag A\n    feeds:\n      # the old lead\n      - {at: start, awg: 18} # blue\n      - at: 5 # gone\n        awg: 18\n    pixels: 5\n",
			"strings:\n  - name: a # tag A\n    feeds:\n      # gone\n      # the old lead\n      - {at: start, awg: 16}  # blue\n      - {at: end, awg: 14}\n    pixels: 5\n", set(feeds)},
		{"a list that was not there", "strings:\n  - name: a\n    pixels: 5 # few", "strings:\n  - name: a\n    pixels: 5 # few\n    feeds:\n      - {at: start, awg: 16}\n      - {at: end, awg: 14}", set(feeds)},
		{"a list over lines in brackets", "strings:\n  - name: a\n    feeds: [{at: start, # blue\n      awg: 18}]\n", "strings:\n  - name: a\n    # blue\n    feeds: [{at: start, awg: 16}, {at: end, awg: 14}]\n", set(feeds)},
		{"an anchor", "strings:\n  - &a {name: a, feeds: [{at: end}]}\n  - {<<: *a, name: b}\n", "strings:\n  - &a {name: a, feeds: [{at: end}]}\n  - {<<: *a, name: b, feeds: [{at: start, awg: 16}, {at: end, awg: 14}]}\n", func(t *Text) {
			m, _ := t.Item("strings", 1)
			m.SetList("feeds", feeds)
		}},
		{"JSON", "{\n\t\"strings\": [\n\t\t{\"name\": \"a,b\", \"feeds\": []}\n\t]\n}\n", "{\n\t\"strings\": [\n\t\t{\"name\": \"a,b\", \"feeds\": [], \"port\": 3}\n\t]\n}\n", func(t *Text) {
			m, _ := t.Item("strings", 0)
			m.Set("port", t.Scalar("3"))
		}},
		{"a word for another", "strings:\r\n  - name: größer\r\n    port: \"1 # x\" # first\r\n    after: z\r\n", "strings:\r\n  - name: größer\r\n    port: 2 # first\r\n", func(t *Text) {
			m, _ := t.Item("strings", 0)
			m.Set("port", "2")
			m.Remove("after")
		}},
		{"a key out of a line", "strings: [{name: a, after: b, port: 1}, {name: ö, port: 2, after: c}]\n", "strings: [{name: a, port: 1}, {name: ö, port: 2}]\n", func(t *Text) {
			for i := range 2 {
				m, _ := t.Item("strings", i)
				m.Remove("after")
			}
		}},
		{"one more supply", "supplies:\n  - {name: a} # hut\nstrings: []\n", "supplies:\n  - {name: a} # hut\n  - {name: b}\nstrings: []\n", func(t *Text) { t.Append("supplies", "{name: b}") }},
		{"a first supply", "strings:\n  - {name: a}\n", "strings:\n  - {name: a}\nsupplies: [{name: b}]\n", func(t *Text) { t.Append("supplies", "{name: b}") }},
	} {
		t.Run(c.name, func(t *testing.T) {
			text, err := Parse([]byte(c.old))
			if err != nil {
				t.Fatal(err)
			}
			c.do(text)
			got := string(text.Bytes())
			if got != c.want {
				t.Errorf("got\n%s\nwant\n%s", got, c.want)
			}
			if err := yaml.Unmarshal([]byte(strings.ReplaceAll(got, "\t", " ")), new(any)); err != nil {
				t.Error(err)
			}
			patched(t, c.old, text)
		})
	}
}

func set(items []Item) func(*Text) {
	return func(t *Text) {
		m, _ := t.Item("strings", 0)
		m.SetList("feeds", items)
	}
}

// patched checks that GNU patch makes of the old text and the difference the new one.
func patched(t *testing.T, old string, text *Text) {
	t.Helper()
	sacntest.NeedTool(t, "patch")
	file := filepath.Join(t.TempDir(), "plan.yaml")
	if err := os.WriteFile(file, []byte(old), 0o600); err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command("patch", "--binary", "--fuzz=0", file)
	cmd.Stdin = strings.NewReader("Words ahead of it.\n" + text.Diff(file))
	if out, err := cmd.CombinedOutput(); err != nil {
		t.Fatalf("patch: %v\n%s\n%s", err, out, text.Diff(file))
	}
	if got, err := os.ReadFile(file); err != nil || !bytes.Equal(got, text.Bytes()) {
		t.Errorf("patch made\n%s\nof\n%s", got, text.Diff(file))
	}
}

func FuzzAmend(f *testing.F) {
	f.Add([]byte("strings:\n  - &x {name: a, feeds: [{at: start}]} # c\n  - <<: *x\n    feeds:\n      - at: 1 # d\n"))
	f.Add([]byte("{\"strings\": [{\"name\": \"a\"}]}"))
	f.Fuzz(func(t *testing.T, data []byte) {
		text, err := Parse(data)
		if err != nil {
			return
		}
		for i := range 3 {
			if m, ok := text.Item("strings", i); ok {
				m.SetList("feeds", []Item{{"{at: end}", 0}, {"{at: 3}", -1}})
				m.Remove("after")
			}
		}
		text.Append("supplies", "{name: n}")
		text.Diff("p")
		text.Bytes()
	})
}
