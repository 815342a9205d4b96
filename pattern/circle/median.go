package circle

// Median returns the middle of the values, of an even number the larger of the
// two, and 0 of none. It puts them in another order.
//
// Method: C. A. R. Hoare, "Algorithm 65: FIND", CACM 4 (1961) 321. A fit needs it at
// every step, where sorting all values costs more than the fit itself.
func Median(v []float64) float64 {
	if len(v) == 0 {
		return 0
	}
	middle := len(v) / 2
	for low, high := 0, len(v)-1; low < high; {
		pivot := v[(low+high)/2]
		i, j := low, high
		for i <= j {
			for v[i] < pivot {
				i++
			}
			for pivot < v[j] {
				j--
			}
			if i <= j {
				v[i], v[j] = v[j], v[i]
				i++
				j--
			}
		}
		if j < middle {
			low = i
		}
		if middle < i {
			high = j
		}
	}
	return v[middle]
}
