package jobfile

import "slices"

// closest is the allowed word most like word, "" where none is alike.
func closest(word string, allowed []string) string {
	best, least := "", max(2, len([]rune(word))/3)+1
	for _, a := range slices.Sorted(slices.Values(allowed)) {
		if n := distance(word, a); n < least {
			best, least = a, n
		}
	}
	return best
}

// distance is the number of letters to insert, delete or replace to make b of a (Levenshtein 1966).
func distance(a, b string) int {
	s, t := []rune(a), []rune(b)
	if len(s) > 100 {
		return len(s)
	}
	row := make([]int, len(t)+1)
	for j := range row {
		row[j] = j
	}
	for i, c := range s {
		diagonal := row[0]
		row[0] = i + 1
		for j, d := range t {
			cost := diagonal
			if c != d {
				cost++
			}
			diagonal = row[j+1]
			row[j+1] = min(cost, row[j]+1, row[j+1]+1)
		}
	}
	return row[len(t)]
}
