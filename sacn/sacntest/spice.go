package sacntest

import (
	"bufio"
	"bytes"
	"os/exec"
	"strconv"
	"strings"
	"testing"
)

// Spice has ngspice, a circuit simulator, work out a netlist that prints what it
// finds, and returns that: node volts and branch currents by name.
func Spice(t *testing.T, netlist string) map[string]float64 {
	t.Helper()
	NeedTool(t, "ngspice")
	cmd := exec.Command("ngspice", "-b", "-n", "/dev/stdin")
	cmd.Stdin = strings.NewReader(netlist)
	var stderr bytes.Buffer
	cmd.Stderr = &stderr
	out, err := cmd.Output()
	values := map[string]float64{}
	lines := bufio.NewScanner(bytes.NewReader(out))
	for lines.Scan() {
		name, value, found := strings.Cut(lines.Text(), " = ")
		if v, e := strconv.ParseFloat(strings.TrimSpace(value), 64); found && e == nil {
			values[strings.TrimSpace(name)] = v
		}
	}
	if len(values) == 0 {
		t.Fatalf("ngspice: %v\n%s\n%s", err, out, stderr.Bytes())
	}
	return values
}
