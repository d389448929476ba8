package deploy

import (
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"

	"yardproof/sacn/sacntest"
)

func TestLintian(t *testing.T) {
	t.Parallel()
	sacntest.NeedTool(t, "lintian")
	out, err := exec.Command("lintian", "--allow-root", "--fail-on", "error", debFile(t)).CombinedOutput()
	if err != nil || strings.Contains(string(out), "E: ") {
		t.Errorf("%v: %s", err, out)
	}
}

// TestReproducible builds once more: another directory, another time of day and
// place, and expects the same bytes. The compiler's cache is shared: that Go compiles
// the same source to the same bytes is Go's own promise.
func TestReproducible(t *testing.T) {
	t.Parallel()
	first := needPackages(t)
	sacntest.NeedTool(t, "git")
	tree := filepath.Join(t.TempDir(), "elsewhere")
	output(t, "git", "clone", "-q", "..", tree)
	// What is not committed yet is built too.
	for line := range strings.Lines(output(t, "git", "status", "--porcelain", "--untracked-files=all")) {
		name := strings.TrimSpace(line[3:])
		text, err := os.ReadFile(filepath.Join("..", name))
		if err != nil {
			continue // deleted
		}
		info, err := os.Stat(filepath.Join("..", name))
		if err != nil {
			t.Fatal(err)
		}
		to := filepath.Join(tree, name)
		if err := os.MkdirAll(filepath.Dir(to), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(to, text, info.Mode()); err != nil {
			t.Fatal(err)
		}
	}
	second := filepath.Join(t.TempDir(), "out")
	cmd := exec.Command(filepath.Join(tree, "deploy", "package"), testVersion, second, "linux/"+runtime.GOARCH)
	cmd.Env = append(os.Environ(), "TZ=Pacific/Auckland", "LC_ALL=C.UTF-8")
	if out, err := cmd.CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	sums := func(dir string) string {
		text, err := os.ReadFile(filepath.Join(dir, "SHA256SUMS"))
		if err != nil {
			t.Fatal(err)
		}
		return string(text)
	}
	if a, b := sums(first), sums(second); a != b || strings.Count(a, "\n") != 2 {
		t.Errorf("two builds differ:\n%s%s", a, b)
	}
}

// TestInstalledFiles: what is in the package, and what it says of itself.
func TestInstalledFiles(t *testing.T) {
	dir := unpacked(t)
	for _, name := range []string{
		"usr/bin/yardproof", "lib/systemd/system/yardproof.service", "lib/systemd/system/yardproof@.service",
		"usr/lib/sysctl.d/60-yardproof.conf", "etc/default/yardproof", "usr/share/man/man1/yardproof.1.gz",
		"usr/share/doc/yardproof/examples/rules.yml", "usr/share/doc/yardproof/examples/dashboard.json", "usr/share/doc/yardproof/examples/plan.yaml",
	} {
		if info, err := os.Stat(filepath.Join(dir, name)); err != nil || info.Size() == 0 {
			t.Errorf("%s: %v", name, err)
		}
	}
	// The notices are of what is linked, as the program itself tells it.
	bin := filepath.Join(dir, "usr/bin/yardproof")
	notices := output(t, "zcat", filepath.Join(dir, "usr/share/doc/yardproof/NOTICES.gz"))
	linked := 0
	for line := range strings.Lines(output(t, "go", "version", "-m", bin)) {
		if f := strings.Fields(line); len(f) > 2 && f[0] == "dep" {
			if linked++; !strings.Contains(notices, "==== "+f[1]+" "+f[2]+": LICENSE") {
				t.Errorf("no licence of %s %s", f[1], f[2])
			}
		}
	}
	if linked == 0 || !strings.Contains(notices, "The Go standard library") || !strings.Contains(notices, ": NOTICE") {
		t.Errorf("%d modules are linked; the notices are %d octets", linked, len(notices))
	}
	if got := output(t, bin, "version"); !strings.HasPrefix(got, "yardproof "+testVersion+", commit ") {
		t.Errorf("the program says it is %q", got)
	}
	if out, err := exec.Command(bin, "plan", filepath.Join(dir, "usr/share/doc/yardproof/examples/plan.yaml")).CombinedOutput(); err != nil {
		t.Errorf("the example plan: %v: %s", err, out)
	}
}

// TestManualPage has groff read the page and look for every command and flag.
func TestManualPage(t *testing.T) {
	sacntest.NeedTool(t, "man")
	dir := unpacked(t)
	cmd := exec.Command("man", "--warnings", "--local-file", filepath.Join(dir, "usr/share/man/man1/yardproof.1.gz"))
	cmd.Env = append(os.Environ(), "MANWIDTH=400", "MAN_KEEP_FORMATTING=", "LC_ALL=C.UTF-8", "MANROFFSEQ=")
	var warnings strings.Builder
	cmd.Stderr = &warnings
	page, err := cmd.Output()
	if err != nil || warnings.Len() > 0 {
		t.Errorf("%v: %s", err, warnings.String())
	}
	for _, want := range []string{"yardproof run [flags] PLAN", "yardproof burn-in [flags] PLAN", "--metrics-open", "full-white", "EXIT STATUS", "Local codes prevail"} {
		if !strings.Contains(string(page), want) {
			t.Errorf("the manual page lacks %q", want)
		}
	}
}

// TestCompletions has each shell read its file, and bash complete for real.
func TestCompletions(t *testing.T) {
	sacntest.NeedTool(t, "bash", "zsh", "fish")
	dir := unpacked(t)
	file := filepath.Join(dir, "usr/share/bash-completion/completions/yardproof")
	for line, want := range map[string]string{
		"yardproof bur":                  "burn-in",
		"yardproof run --pattern fu":     "full-white",
		"yardproof run --interf":         "--interface",
		"yardproof burn-in --sta":        "--state --stay",
		"yardproof plan pack":            "package package_test.go",
		"yardproof listen --form":        "--format",
		"yardproof version --h":          "--help",
		"yardproof run --string gable-r": "gable-ridge gable-right",
		"yardproof plan --sheet ba":      "bandstand",
		"yardproof run --interface l":    "lo",
		"yardproof help metr":            "metrics",
	} {
		words := strings.Fields(line)
		script := `source "$1"; shift; COMP_WORDS=("$@"); COMP_CWORD=$(($# - 1)); _yardproof; printf '%s\n' "${COMPREPLY[@]}"`
		got := strings.Fields(output(t, "env", append([]string{"PATH=" + filepath.Join(dir, "usr/bin") + ":" + os.Getenv("PATH"), "bash", "-c", script, "bash", file}, words...)...))
		slices.Sort(got)
		if strings.Join(got, " ") != want {
			t.Errorf("%s: bash completes %v, want %s", line, got, want)
		}
	}
	output(t, "zsh", "-n", filepath.Join(dir, "usr/share/zsh/vendor-completions/_yardproof"))
	output(t, "fish", "--no-execute", filepath.Join(dir, "usr/share/fish/vendor_completions.d/yardproof.fish"))
	got := output(t, "fish", "--no-config", "-c", "source "+filepath.Join(dir, "usr/share/fish/vendor_completions.d/yardproof.fish")+"; complete -C 'yardproof run --pattern fu'")
	if f := strings.Fields(got); len(f) == 0 || f[0] != "full-white" {
		t.Errorf("fish completes %q", got)
	}
}
