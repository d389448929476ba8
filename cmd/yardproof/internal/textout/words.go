package textout

import (
	"fmt"
	"strconv"
	"strings"
)

// Minutes is how times are written that a person reads, as time.Format has it.
const Minutes = "2006-01-02 15:04"

// Count writes a number and what it counts: 1 string, 2 strings. The plural is
// the word with an s unless it is given.
func Count(n int, one string, many ...string) string {
	switch {
	case n == 1:
		return "1 " + one
	case len(many) > 0:
		return fmt.Sprintf("%d %s", n, many[0])
	}
	return fmt.Sprintf("%d %ss", n, one)
}

// And joins names as a sentence does: a, b and c.
func And(names []string) string {
	switch n := len(names); n {
	case 0:
		return "nothing"
	case 1:
		return names[0]
	default:
		return strings.Join(names[:n-1], ", ") + " and " + names[n-1]
	}
}

// Some writes at most so many names, and how many more there are.
func Some(names []string, most int) string {
	if len(names) <= most {
		return strings.Join(names, ", ")
	}
	return fmt.Sprintf("%s and %d more", strings.Join(names[:most], ", "), len(names)-most)
}

// Ranges writes ascending numbers as 1-3, 7.
func Ranges[T int | uint16](numbers []T) string { return strings.Join(ranges(numbers), ", ") }

// Numbered writes numbers behind what they number: "universe 7", "universes 1-3, 7".
func Numbered[T int | uint16](one string, numbers []T) string {
	if len(numbers) != 1 {
		one += "s"
	}
	return one + " " + Ranges(numbers)
}

func ranges[T int | uint16](numbers []T) []string {
	var parts []string
	for i := 0; i < len(numbers); {
		j := i
		for j+1 < len(numbers) && numbers[j+1] == numbers[j]+1 {
			j++
		}
		if i == j {
			parts = append(parts, fmt.Sprint(numbers[i]))
		} else {
			parts = append(parts, fmt.Sprintf("%d-%d", numbers[i], numbers[j]))
		}
		i = j + 1
	}
	return parts
}

// Number writes a number as somebody would have typed it.
func Number(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

// Fixed writes a computed number with so many decimals.
func Fixed(v float64, decimals int) string { return strconv.FormatFloat(v, 'f', decimals, 64) }

// Known writes a number with its unit, or a dash for 0, which stands for not
// known. A negative number of decimals writes it as somebody would have typed it.
func Known(v float64, decimals int, unit string) string {
	switch {
	case v == 0:
		return "-"
	case decimals < 0:
		return Number(v) + " " + unit
	}
	return Fixed(v, decimals) + " " + unit
}

// Dash stands in a table for an empty text.
func Dash(s string) string {
	if s == "" {
		return "-"
	}
	return s
}
