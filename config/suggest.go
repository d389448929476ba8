package config

import (
	"slices"
	"strconv"
	"strings"
)

// meant are words that people bring from elsewhere, and what they are in a plan.
var meant = map[string]string{
	"direction": "flow", "reverse": "flow", "reversed": "flow", "backwards": "backward", "normal": "forward",
	"color_order": "order", "colour_order": "order", "rgb_order": "order", "zigzag": "fold", "zig_zag": "fold", "grouping": "copies", "group": "copies",
	"start_universe": "universe", "start_channel": "channel", "count": "pixels", "nodes": "pixels", "length": "metres", "nulls": "null_pixels", "tag": "label",
	"ip": "address", "host": "address", "type": "chip", "protocol": "chip", "fuse": "fuse_amps", "gauge": "awg", "voltage": "volts", "power": "watts",
	"m": "metres", "mm": "millimetres", "meters": "metres", "ft": "feet", "foot": "feet", "in": "inches", "injection": "feeds", "psu": "supply", "psus": "supplies",
}

// anyOf begins a suggestion that is a list.
const anyOf = "it can be "

// Meant returns which of words somebody meant who writes as elsewhere, such as
// start_universe for universe; the word itself when it is none of those.
func Meant(word string, words []string) string {
	if w := meant[fold(word)]; w != "" && slices.Contains(words, w) {
		return w
	}
	return word
}

// NoString says what to write in place of a name that no string of the plan has: that
// of the string with this tag, or what [Suggest] says.
func (p *Plan) NoString(name string) string {
	var names []string
	for _, s := range p.Strings {
		if s.Label == name && name != "" {
			return name + " is the tag of " + strconv.Quote(s.Name)
		}
		names = append(names, s.Name)
	}
	return Suggest(name, names)
}

// Suggest says what to write in place of a word that is not one of words: the one
// that was meant, if a few slips of the finger explain it, or those there are.
func Suggest(word string, words []string) string {
	folded := fold(word)
	if w := meant[folded]; w != "" && slices.Contains(words, w) {
		return "did you mean " + strconv.Quote(w) + "?"
	}
	if folded == "reverse" || folded == "reversed" {
		return Suggest("backwards", words)
	}
	if best := Nearest(word, words); best != "" {
		return "did you mean " + strconv.Quote(best) + "?"
	}
	can := slices.DeleteFunc(slices.Clone(words), func(w string) bool { return w == "" })
	switch alike := kin(word, can); len(alike) {
	case 0:
	case 1:
		return "did you mean " + strconv.Quote(alike[0]) + "?"
	default:
		can = alike
	}
	switch {
	case len(can) == 0:
		return "remove it"
	case len(can) > 8: // long lists are read by their order
		slices.Sort(can)
	}
	if len(can) > 40 {
		can = append(can[:40], "...")
	}
	return anyOf + strings.Join(can, ", ")
}

// suggestKey is Suggest for a key; it knows what YAML makes of small slips.
func suggestKey(key string, keys []string) string {
	before, _, colon := strings.Cut(key, ":")
	switch {
	case colon && slices.Contains(keys, before):
		return "put a space after the colon"
	case key != "" && key[0] >= '0' && key[0] <= '9': // 5,5 or 12,0 V between braces
		return "write a point in a number, not a comma"
	}
	fix := Suggest(key, keys)
	if strings.HasPrefix(fix, anyOf) && strings.Count(fix, ",") > 16 { // too many to read
		return "yardproof help plan lists the keys"
	}
	return fix
}

// fold makes words alike that differ in how they are put together.
func fold(word string) string {
	return strings.ToLower(strings.NewReplacer("-", "_", " ", "_").Replace(word))
}

// Nearest returns the word of words that is the fewest typing slips away, or "" when
// none is near.
func Nearest(word string, words []string) string {
	if len(word) > 60 {
		return ""
	}
	folded := fold(word)
	best, least := "", (len(word)+1)/3
	for _, w := range words {
		if n := slips(folded, strings.ToLower(w), least); n < least || (n == least && best == "") {
			best, least = w, n
		}
	}
	return best
}

// kin returns the words that are a part of the word, or have it as a part.
func kin(word string, words []string) []string {
	const short = 4
	var alike []string
	folded := fold(word)
	for _, w := range words {
		if len(w) >= short && strings.Contains(folded, w) || len(folded) >= short && strings.Contains(w, folded) {
			alike = append(alike, w)
		}
	}
	return alike
}

// slips counts the insertions, deletions, replacements and swaps of neighbours
// from a to b; anything past most is most+1.
func slips(a, b string, most int) int {
	if len(a)-len(b) > most || len(b)-len(a) > most {
		return most + 1
	}
	before, prev, row := make([]int, len(b)+1), make([]int, len(b)+1), make([]int, len(b)+1)
	for j := range prev {
		prev[j] = j
	}
	for i := 1; i <= len(a); i++ {
		row[0] = i
		for j := 1; j <= len(b); j++ {
			cost := 1
			if a[i-1] == b[j-1] {
				cost = 0
			}
			row[j] = min(prev[j]+1, row[j-1]+1, prev[j-1]+cost)
			if i > 1 && j > 1 && a[i-1] == b[j-2] && a[i-2] == b[j-1] {
				row[j] = min(row[j], before[j-2]+1)
			}
		}
		before, prev, row = prev, row, before
	}
	return min(prev[len(b)], most+1)
}
