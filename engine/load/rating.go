package load

// RIRFromRating turns a rating of perceived exertion, in tenths (85 is 8.5), into the
// repetitions left that it stands for, lowest and highest: RIR = 10 - rating from 7 up,
// a half rating between two. Below 7 the scale gives a range (5 and 6: 4 to 6) or no
// number at all, and it is false, as for what is no rating. Zourdos et al., J Strength
// Cond Res 30(1):267-275, 2016; Helms et al., Strength Cond J 38(4):42-49, 2016 (10 and
// 9 from the abstract, the rest from memory). 9.5 is no further repetition but a little
// more load.
func RIRFromRating(tenths int32) (low, high int32, ok bool) {
	if tenths < 70 || tenths > 100 || tenths%5 != 0 {
		return 0, 0, false
	}
	low = (100 - tenths) / 10
	if tenths == 95 || tenths%10 == 0 {
		return low, low, true
	}
	return low, low + 1, true
}
