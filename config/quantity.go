package config

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// unit is what a number of the plan counts, and what may be written after it.
type unit struct {
	name  string // in messages, after the range
	signs []sign // none: a bare number
}

// sign is a unit as it is written; the number before it is multiplied.
type sign struct {
	text  string
	times float64
}

// The units of a plan. What stands first is what a bare number is in.
var (
	bare         = unit{}
	gauge        = unit{"(gauge)", []sign{{"AWG", 1}}}
	percent      = unit{"%", []sign{{"%", 1}}}
	pixelCount   = unit{"pixels", []sign{{"pixels", 1}, {"px", 1}}}
	framesRate   = unit{"frames a second", []sign{{"Hz", 1}, {"fps", 1}}}
	kilobits     = unit{"kilobits a second", []sign{{"kbit/s", 1}, {"kHz", 1}, {"Mbit/s", 1000}}}
	microseconds = unit{"microseconds", []sign{{"us", 1}, {"µs", 1}, {"ms", 1000}}}
	minutes      = unit{"minutes", []sign{{"min", 1}, {"minutes", 1}, {"h", 60}, {"s", 1.0 / 60}}}
	hours        = unit{"hours", []sign{{"h", 1}, {"hours", 1}, {"days", 24}, {"d", 24}}}
	celsius      = unit{"degrees Celsius", []sign{{"°C", 1}, {"C", 1}}}
	amperes      = unit{"A", []sign{{"A", 1}, {"mA", 0.001}}}
	volts        = unit{"V", []sign{{"V", 1}}}
	watts        = unit{"W", []sign{{"W", 1}}}
	squareMetres = unit{"square metres", []sign{{"m2", 1}, {"m²", 1}}}
	squareMM     = unit{"square millimetres", []sign{{"mm2", 1}, {"mm²", 1}}}
	milliohms    = unit{"milliohms for a metre of one conductor", []sign{{"mΩ/m", 1}, {"mohm/m", 1}}}
	metres       = unit{"metres", []sign{{"m", 1}}}
	millimetres  = unit{"millimetres", []sign{{"mm", 1}}}
	feet         = unit{"feet", []sign{{"ft", 1}, {"feet", 1}, {"'", 1}}}
	inches       = unit{"inches", []sign{{"in", 1}, {"inches", 1}, {`"`, 1}}}
	anyLength    = unit{"metres", []sign{{"m", 1}, {"cm", 0.01}, {"mm", 0.001}, {"ft", metresPerFoot}, {"in", metresPerInch}}}
)

// The keys that a length may stand under.
var lengthKeys = []struct {
	key    string
	unit   unit
	metres float64
}{{"metres", metres, 1}, {"millimetres", millimetres, 0.001}, {"feet", feet, metresPerFoot}, {"inches", inches, metresPerInch}}

// A foot and an inch in metres, exactly (international yard and pound agreement, 1959).
const (
	metresPerFoot = 0.3048
	metresPerInch = 0.0254
)

// parse reads a number with or without its unit.
func (u unit) parse(text string) (float64, bool) {
	if v, ok := parseNumber(text); ok {
		return v, true
	}
	for _, s := range u.signs {
		if n := len(text) - len(s.text); n > 0 && strings.EqualFold(text[n:], s.text) {
			if v, ok := parseNumber(strings.TrimSpace(text[:n])); ok {
				return v * s.times, true
			}
		}
	}
	return 0, false
}

// cutNumber parts a number from the word after it.
func cutNumber(text string) (digits, rest string) {
	digits = strings.TrimRightFunc(text, func(c rune) bool { return c != '.' && (c < '0' || c > '9') })
	return digits, strings.TrimSpace(text[len(digits):])
}

// parseNumber takes plain decimal notation: no NaN, no infinity, no hexadecimal.
func parseNumber(text string) (float64, bool) {
	for _, c := range []byte(text) {
		if (c < '0' || c > '9') && c != '.' && c != '-' && c != '+' && c != 'e' && c != 'E' {
			return 0, false
		}
	}
	v, err := strconv.ParseFloat(text, 64)
	return v, err == nil && !math.IsInf(v, 0)
}

// parseShare reads a part of a whole, as 80% or 0.8.
func parseShare(text string) (float64, bool) {
	digits, percent := strings.CutSuffix(text, "%")
	v, ok := parseNumber(strings.TrimSpace(digits))
	if percent {
		v /= 100
	}
	return v, ok
}

// Meter is how far a meter may be off: a share of the reading and a fixed part in
// the reading's unit.
type Meter struct{ Share, Fixed float64 }

// DefaultMeter is the error of a clamp meter when the plan gives none (common
// practice, no source).
var DefaultMeter = Meter{Share: 0.03, Fixed: 0.10}

// Error is the most by which a reading may be off.
func (m Meter) Error(reading float64) float64 { return m.Share*math.Abs(reading) + m.Fixed }

// ParseMeter reads a meter's error as its leaflet gives it, "3% + 0.10 A"; either
// part may be left out. The unit is A or V. The error is at most half of the reading
// and 10 A or 10 V.
func ParseMeter(text, unit string) (Meter, error) {
	var m Meter
	seen := map[*float64]bool{}
	for part := range strings.SplitSeq(text, "+") {
		part = strings.TrimSpace(part)
		target, most, scale := &m.Share, 50.0, 0.01
		digits, ok := strings.CutSuffix(part, "%")
		if !ok {
			target, most, scale = &m.Fixed, 10, 1
			digits, ok = strings.CutSuffix(strings.ToUpper(part), unit)
		}
		v, isNumber := parseNumber(strings.TrimSpace(digits))
		if !ok || !isNumber || v < 0 || v > most || seen[target] {
			return Meter{}, fmt.Errorf(`%s is not a meter's error: write it as "3%% + 0.10 %s"`, quote(text), unit)
		}
		*target, seen[target] = v*scale, true
	}
	return m, nil
}

// amount writes a figure with its unit, span a range of figures.
func amount(v float64, unit string) string {
	return strings.TrimSpace(strconv.FormatFloat(v, 'f', -1, 64) + " " + unit)
}

func span(lo, hi float64, unit string) string {
	return strconv.FormatFloat(lo, 'f', -1, 64) + " to " + amount(hi, unit)
}

// quote shows a value that may hold anything.
func quote(text string) string {
	if _, ok := parseNumber(text); ok && len(text) < 20 {
		return text
	}
	return strconv.Quote(clip(text))
}
