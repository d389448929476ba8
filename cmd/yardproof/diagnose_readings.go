package main

import (
	"github.com/spf13/pflag"

	"yardproof/cmd/yardproof/internal/diagnose"
	"yardproof/config"
)

func (f *diagnoseFlags) readAmps(fs *pflag.FlagSet, plan *config.Plan, s *config.String) (diagnose.Answer, error) {
	r := diagnose.Amps{Read: f.amps, Expected: f.expected, PerPixel: f.perPixel, Lit: f.pixels, Feed: f.feed}
	var err error
	if r.Meter, err = f.meterError(diagnose.AssumedClamp); err != nil {
		return diagnose.Answer{}, err
	}
	if fs.Changed("dark-amps") {
		r.Dark = &f.darkAmps
	}
	if r.Expected == 0 {
		return diagnose.Answer{}, usagef("--amps needs something to compare with: --expected")
	}
	return r.Answer()
}

func (f *diagnoseFlags) readVolts(plan *config.Plan, s *config.String) (diagnose.Answer, error) {
	points, err := parsePoints(f.volts)
	if err != nil {
		return diagnose.Answer{}, err
	}
	m, err := f.meterError(diagnose.AssumedVolts)
	if err != nil {
		return diagnose.Answer{}, err
	}
	for _, p := range points {
		if p.Expected == 0 {
			return diagnose.Answer{}, usagef("--volts needs something to compare with: write each as 50=10.9/11.7, read/expected")
		}
	}
	return diagnose.Volts(points, m)
}

func (f *diagnoseFlags) meterError(assumed diagnose.Meter) (diagnose.Meter, error) {
	if f.meter == "" {
		return assumed, nil
	}
	return diagnose.ParseMeter(f.meter)
}
