package main

import (
	"slices"

	"github.com/spf13/pflag"

	"yardproof/config"
)

// oneFlags describe one string without a plan. What is not known of it limits white.
var oneFlags = []string{"universe", "pixels", "order", "chip", "volts", "fuse-amps", "supply-watts"}

func defineOne(fs *pflag.FlagSet, one *config.One, universe string) {
	fs.IntVar(&one.Universe, "universe", 0, universe)
	fs.IntVar(&one.Pixels, "pixels", 0, "with --universe: how many pixels it has")
	fs.StringVar(&one.Order, "order", "", "with --universe: the `order` of the colours in the data (default: RGB)")
	fs.StringVar(&one.Chip, "chip", "", "with --universe: the pixel driver `chip` (default: ws2811)")
	fs.Float64Var(&one.Volts, "volts", 0, "with --universe: the `volts` it is made for (default: not known)")
	fs.Float64Var(&one.FuseAmps, "fuse-amps", 0, "with --universe: the `amperes` of its fuse (default: not known; then white stays at 30 %)")
	fs.Float64Var(&one.SupplyWatts, "supply-watts", 0, "with --universe and --volts: the `watts` of its supply (default: not known; then white stays at 30 %)")
}

// oneAsked reports whether any flag describes a string.
func oneAsked(fs *pflag.FlagSet) bool { return slices.ContainsFunc(oneFlags, fs.Changed) }
