package ranch

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"time"
)

// notes writes a visit's field notes the way they come out of a shirt pocket:
// place, weather, grazing, weeds, wildlife and fire, then stake and board.
func (v *Visit) notes(seed uint64) string {
	d := random(seed, "notes", v.Site.Name, v.Year)
	var b strings.Builder
	fmt.Fprintf(&b, "%s, %s\n", Name, County)
	fmt.Fprintf(&b, "%s, %s\n", v.Site.Name, v.Site.Pasture)
	fmt.Fprintf(&b, "%s\n\n", v.Time.Format("Monday 2 January 2006, 15:04"))
	part := func(head, body string) { fmt.Fprintf(&b, "%s: %s\n\n", head, body) }
	part("Place", fmt.Sprintf("%s. %.5f N %.5f W, WGS 84. Landscape looks %d degrees true.",
		v.Site.stand, v.Site.Latitude, -v.Site.Longitude, v.Site.Bearing))
	part("Weather", v.noteWeather(d))
	part("Grass", v.noteGrass(d))
	part("Grazing", v.noteGrazing(seed, d))
	part("Weeds", v.noteWeeds(d))
	part("Wildlife", v.noteWildlife(d))
	part("Fire", v.noteFire(d))
	part("Stake and board", v.noteStake(d))
	if v.NoLandscape {
		part("Pictures", "plot only. Camera battery gave out before the landscape and the spare was in the other truck.")
	}
	if v.AfterGap {
		part("Pictures", fmt.Sprintf("none of this stake in %d. A cloudburst took out the draw crossing the week of the round and nobody got across.", v.Year-1))
	}
	return b.String()
}

func pick(d *rand.Rand, from ...string) string { return from[d.IntN(len(from))] }

func (v *Visit) dry() bool { return v.Inches < 0.82*v.Usual }
func (v *Visit) wet() bool { return v.Inches > 1.18*v.Usual }

func (v *Visit) noteWeather(d *rand.Rand) string {
	sky := map[Weather][]string{
		Clear:    {"clear, not a cloud", "clear and already warm"},
		Cumulus:  {"fair, a few cumulus over the range", "fair, puffy clouds, shadows moving through the picture"},
		HighThin: {"high thin cloud, soft light", "mares' tails, change coming"},
		Overcast: {"overcast, flat light, good for the plot", "overcast, no shadows"},
		Storms:   {"thunderheads building, kept it short", "showers on the far side, thunder by noon"},
		Smoke:    {"smoke haze, range hard to make out", "smoky, sun orange till ten"},
	}[v.Weather]
	wind := pick(d, "calm", "light wind from the southwest", "breezy, board had to be held", "west wind 10 to 15")
	f := 62 + d.IntN(26)
	state := "about what we usually get"
	if v.dry() {
		state = "a dry year"
	} else if v.wet() {
		state = "a wet year"
	}
	return fmt.Sprintf("%s, %s, %d F. Gauge at the tank %.1f in since 1 October, usual is %.1f: %s.",
		sky[d.IntN(len(sky))], wind, f, v.Inches, v.Usual, state)
}

func (v *Visit) noteGrass(d *rand.Rand) string {
	look := pick(d, "bluebunch and squirreltail headed out, still some green at the base",
		"bunchgrass holding, green low down, tips cured", "ricegrass seeding, squirreltail fair")
	switch {
	case v.dry():
		look = pick(d, "short and cured, little seed", "straw already, most plants never headed",
			"poor, bare ground between the bunches, old leaf mostly")
	case v.wet():
		look = pick(d, "best in years, green to the tips and headed out",
			"tall and green, seed on nearly every bunch, forbs in flower", "thick, new seedlings between the old bunches")
	}
	return fmt.Sprintf("%s. Ocular cover in the square about %d percent.", look, int(v.Cover*100/5+0.5)*5)
}

// noteGrazing: cattle rotate through the pastures, so one of three is rested.
func (v *Visit) noteGrazing(seed uint64, d *rand.Rand) string {
	turn := map[string]int{"North Flat": 0, "Draw Pasture": 1, "Calico Ridge": 2}[v.Site.Pasture]
	head := 140 + random(seed, "herd", v.Year).IntN(7)*10
	if v.dry() {
		head -= 40
	}
	switch (v.Year + turn) % 3 {
	case 0:
		return "pasture rested this year, no cattle since last fall. " + pick(d, "No fresh sign.", "Old pats only.")
	case 1:
		return fmt.Sprintf("%d pair in here 20 April to 2 June, moved on to the next pasture. Use %s, about %d percent by height.",
			head, pick(d, "even", "patchy, heavier toward water", "light on the slope"), 20+d.IntN(5)*5)
	default:
		return fmt.Sprintf("%d pair to come in about 10 July. Not grazed yet this year.", head)
	}
}

func (v *Visit) noteWeeds(d *rand.Rand) string {
	if v.wet() {
		return pick(d, "cheatgrass thick along the two-track, some in the square, purple already. Pulled what was within reach.",
			"halogeton in the disturbed ground by the gate. Flagged it for spraying.",
			"a few bull thistle in the low spot, dug them. Cheatgrass more than last year.")
	}
	if v.dry() {
		return pick(d, "none seen in the square. Russian thistle skeletons on the fence.",
			"cheatgrass hardly came up. Halogeton rosettes along the road, small.", "none new.")
	}
	return pick(d, "some cheatgrass in the interspaces, none in the square.", "halogeton still only by the road. None at the stake.",
		"one patch of whitetop by the water, same size as last year.")
}

func (v *Visit) noteWildlife(d *rand.Rand) string {
	return pick(d, "six pronghorn, two with fawns.", "sage grouse droppings under the brush, no birds.",
		"meadowlark on the board while I set up the camera.", "jackrabbits, and a coyote going the other way.",
		"mule deer tracks at the water.", "horned larks, a nest in a bunchgrass outside the square, stepped around it.",
		"badger diggings 30 paces north.", "red-tailed hawk on a fence post. Rattlesnake in the shade of the brush, left it alone.",
		"harvester ants have a new mound by the two-track.")
}

func (v *Visit) noteFire(d *rand.Rand) string {
	if v.Weather == Smoke {
		return pick(d, "none here. Smoke is from a range fire a long way north, county says it is not coming this way.",
			"none on the ranch, haze from fires to the west.")
	}
	if v.wet() {
		return "no sign of fire. " + pick(d, "Fine fuel is heavy, watch it once it cures.", "Plenty to burn by August.")
	}
	return "no sign of fire. " + pick(d, "Fuel light.", "Fuel broken up, would not carry far.", "Road bladed as a break in May.")
}

func (v *Visit) noteStake(d *rand.Rand) string {
	board := pick(d, "Board lettered fresh.", "Board in the picture, readable.", "Board wiped and lettered, marker running dry.")
	rules := pick(d, "Square laid out with the two folding rules, first corner at the stake.",
		"Two six-foot rules round the square, corner on the stake.")
	if v.CapMissing {
		return "CAUTION stake cap missing, bare steel in the grass is a hazard to tires and to horses. Stay off it with the truck, bring a cap. " + rules + " " + board
	}
	return pick(d, "Stake sound, cap on.", "Stake leans a little, cap on and bright.", "Stake and cap good.") + " " + rules + " " + board
}

// grazingPlan is a note of a whole pasture, for the one year somebody typed it.
func grazingPlan(year int) string {
	return fmt.Sprintf(`%s
Grazing plan %d, North Flat

In:   20 April, 130 pair, through the south gate.
Out:  when the average stubble at the two stakes is down to 5 inches, 2 June at
      the latest.
Rest: whole of next year, then late use the year after.

Water: windmill on from 15 April; fill the storage tank before they come in.
Salt:  not within a quarter mile of water, nor of a stake.
Photos of both stakes in the last week of June as always, before the heat.
`, Name, year)
}

// planYear and planTime: the plan lies in the pasture's folder, above its sites.
const planYear = 2019

var planTime = time.Date(planYear, time.March, 11, 14, 25, 0, 0, zone)
