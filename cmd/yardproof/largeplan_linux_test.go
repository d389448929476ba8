package main

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"syscall"
	"testing"

	"yardproof/config/configtest"
	"yardproof/sacn/sacntest"
)

// BenchmarkLargePlan checks and prints plans of 10,000 strings and 1,000,000 pixels by the
// whole program, and reports what it took of processors and memory.
func BenchmarkLargePlan(b *testing.B) {
	for name, text := range configtest.Large(10_000) {
		path := filepath.Join(b.TempDir(), name+".yaml")
		sacntest.Write(b, path, text)
		for _, format := range []string{"text", "json"} {
			b.Run(name+"/"+format, func(b *testing.B) {
				cpu, most := 0.0, int64(0)
				for b.Loop() {
					cmd := exec.Command(os.Args[0], "plan", path, "--format", format)
					cmd.Env = append(os.Environ(), sacntest.AsProgram+"=1")
					var said bytes.Buffer
					cmd.Stderr = &said
					if err := cmd.Run(); err != nil && cmd.ProcessState.ExitCode() != 1 { // 1: fuses too big for their wire
						b.Fatal(err, said.String())
					}
					u := cmd.ProcessState.SysUsage().(*syscall.Rusage)
					cpu += (cmd.ProcessState.UserTime() + cmd.ProcessState.SystemTime()).Seconds()
					most = max(most, int64(u.Maxrss)) // 32 bits on some systems
				}
				b.ReportMetric(cpu/float64(b.N), "cpu-s/op")
				b.ReportMetric(float64(most)/1024, "MiB-most")
			})
		}
	}
}
