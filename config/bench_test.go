package config

import (
	"bytes"
	"fmt"
	"testing"

	"go.yaml.in/yaml/v3"
)

// bigPlan is a plan of n strings of 100 pixels with everything that a careful
// person writes about them.
func bigPlan(n int) []byte {
	var b bytes.Buffer
	b.WriteString("name: big\nnetwork: {interface: lo}\ncontrollers:\n")
	for i := range n / 16 {
		fmt.Fprintf(&b, "  - {name: c%d, address: 10.%d.%d.1}\n", i, i/250, i%250)
	}
	b.WriteString("supplies:\n")
	for i := range n / 4 {
		fmt.Fprintf(&b, "  - {name: s%d, volts: 12, watts: 350}\n", i)
	}
	b.WriteString("strings:\n")
	for i := range n {
		fmt.Fprintf(&b, `  - name: string-%d
    label: L%d
    controller: c%d
    port: %d
    universe: %d
    pixels: 100
    order: GRB
    chip: ws2811
    amps_per_pixel: 0.055
    supply: s%d
    fuse_amps: 5
    pitch: {awg: 18, millimetres: 100}
    feeds:
      - {at: start, awg: 16, metres: 3}
      - {at: end, awg: 14, metres: 8}
`, i, i, i/16, i%16+1, i+1, i/4)
	}
	return b.Bytes()
}

// BenchmarkYAMLAlone is the floor under BenchmarkLoad: the library's part.
func BenchmarkYAMLAlone(b *testing.B) {
	data := bigPlan(10000)
	b.SetBytes(int64(len(data)))
	b.ReportAllocs()
	for b.Loop() {
		var doc yaml.Node
		if err := yaml.Unmarshal(data, &doc); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkLoad reads and checks 10,000 strings of 100 pixels.
func BenchmarkLoad(b *testing.B) {
	data := bigPlan(10000)
	b.SetBytes(int64(len(data)))
	b.ReportAllocs()
	for b.Loop() {
		if _, problems := Load("big.yaml", bytes.NewReader(data)); len(problems) > 0 {
			b.Fatal(problems[0])
		}
	}
}

func BenchmarkMap(b *testing.B) {
	p, _ := Load("big.yaml", bytes.NewReader(bigPlan(10000)))
	b.ReportAllocs()
	for b.Loop() {
		p.mapUses()
	}
}
