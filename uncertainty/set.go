package uncertainty

import "math"

// NewSet returns an empty Set.
func NewSet() *Set { return &Set{index: map[string]int{}} }

// Add adds an input and returns its index. An input with the same ID and the same definition is the same input: its index is returned.
// The same ID with another definition is our own mistake and panics.
func (s *Set) Add(in Input) int {
	if in.ID == "" {
		panic("uncertainty: input without ID")
	}
	if in.Dist == nil {
		panic("uncertainty: input without distribution")
	}
	if i, ok := s.index[in.ID]; ok {
		if !sameInput(s.inputs[i], in) {
			panic("uncertainty: one input ID with two definitions")
		}
		return i
	}
	i := len(s.inputs)
	s.inputs = append(s.inputs, in)
	s.index[in.ID] = i
	return i
}

// sameInput compares the numbers by their bits, so that a NaN equals itself.
func sameInput(a, b Input) bool {
	if math.Float64bits(a.Value) != math.Float64bits(b.Value) || math.Float64bits(a.Dof) != math.Float64bits(b.Dof) {
		return false
	}
	a.Value, a.Dof, b.Value, b.Dof = 0, 0, 0, 0
	return a == b
}

// Len is the number of inputs.
func (s *Set) Len() int { return len(s.inputs) }

// Input is the input of index i.
func (s *Set) Input(i int) Input { return s.inputs[i] }

// Index finds an input by its ID.
func (s *Set) Index(id string) (int, bool) {
	i, ok := s.index[id]
	return i, ok
}

// Values is a fresh slice of the estimates of all inputs, in order of their indices: the x of a Model.
func (s *Set) Values() []float64 {
	x := make([]float64, len(s.inputs))
	for i, in := range s.inputs {
		x[i] = in.Value
	}
	return x
}
