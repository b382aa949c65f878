"""Words that say the same in notes about growth: one group a line, made for this project (CC0).

Near enough is enough: a person confirms each proposal. A word may stand in several groups; groups do not chain.
"""

from __future__ import annotations

from functools import cache

from coldframe.analysis.similarity.words import stem

GROUPS = """
ability able capable can
accountant bookkeeper
ad ads advert adverts advertisement advertising commercial banner
allow let permit permitted enable
angry cross mad furious
annoy annoying irritate irritating
answer reply respond response
app application
argue argument quarrel fight
ask request demand
bag purse handbag
ban forbid prohibit abolish
beautiful pretty lovely
begin start launch commence open
benefit advantage gain
big large huge enormous massive
bike bicycle cycle
boat ship vessel
boring dull tedious
bug error defect fault glitch
business company firm enterprise organisation organization
buy purchase order acquire
buyer customer client shopper purchaser
cancel stop end terminate
car vehicle auto
cheap inexpensive affordable
checkout basket cart
child children kid youngster toddler
choose pick select opt choice option
clarify explain describe explanation
clever smart intelligent
close near beside next
community forum
competitor rival
complain complaint grumble
complete finish done
complicated complex confusing confuse unclear puzzling
confirm verify validate check
contract agreement terms
cost price fee charge pricing
country nation state
coupon voucher discount rebate
crash fail break failure freeze
daily day
damage harm hurt
dashboard overview
data information detail details info
deadline due
default standard preset
delay late slow wait lag
delete remove erase
delivery shipping shipment dispatch
demo trial try test
depart leave quit
difficult hard tough tricky
discourage demotivate demotivating off-putting
discover find locate notice
display show
document docs documentation manual guide handbook
dog puppy hound
download install installation setup
earth globe planet world
easy simple effortless straightforward
elderly old aged
email mail message newsletter
employee staff personnel worker labourer
empty blank
entire whole complete
essential important vital crucial critical key
everyone everybody all
expensive costly pricey dear
export download
fast quick quickly rapid rapidly speedy
faulty broken defective
fear afraid scare scary nervous worry worried anxious
feature function functionality capability
feedback comment opinion view
film movie video clip
fix repair solve resolve mend
form questionnaire
freedom right liberty
friend mate buddy
frequently often
get receive obtain
gift present
give offer provide supply
glad happy pleased satisfied delighted
goods product item merchandise
grass lawn meadow grassy
great excellent good super
group team crew
grow growth increase rise expand
guess suppose assume
help assist support aid helpdesk
hidden hide bury buried invisible
hold holding carry carrying
hour hours time
house home
idea suggestion proposal
immediately instantly instant prompt promptly
improve better enhance
individual person human
inform tell notify
invitation invite refer referral recommend recommendation
invoice bill billing
job employment work career
journey trip travel commute
keep retain stay remain stick retention
know aware knowledge understand known
landing homepage
language translate translated translation
lapse churn leave
law legal lawyer
lead prospect
learner student pupil
lesson course class
level stage
licence license
like love enjoy fond
login account
lose loss losing
loyal loyalty
man guy bloke
many numerous much plenty
member subscriber
membership subscription
mobile phone smartphone handset telephone
money fund cash funding
month monthly
motivate motivating motivation encourage
must need require necessary requirement mandatory compulsory obligatory
name call called
new fresh recent
newcomer beginner novice
newspaper gazette paper press
nobody noone
none without lack missing no absent
note reminder notification alert
odd strange weird
onboarding introduction welcome
outdated dated obsolete
pay payment paid
people folk folks person user everyone
permission consent approval
picture photo photograph image
plane airplane aircraft aeroplane jet
pointless useless worthless
prevent stop hinder block
privacy private confidential
problem issue trouble difficulty
profit margin earning
quiet silent
rarely seldom hardly
rating review testimonial
reason cause
recruit hire
refund reimbursement
register registration signup join enrol enroll
relevant suitable matching
reliable stable dependable
result outcome
return comeback
road street lane
rock stone cliff
run jog trot
sad unhappy displeased disgruntled
safe secure security
save spare
say speak tell talk speech
scientific science
sea ocean
search seek find
see watch look view
sell sold sale sales
send sent deliver
shop store
shore beach coast seaside
short brief
sick ill
sidewalk pavement footpath
sit seated sitting
skill ability
skip miss missed
slow sluggish
small little tiny
social community
speak talk chat
spreadsheet table excel
step stage
supplier vendor provider
tax vat duty
taxpayer public
teach teacher tutor train trainer
think believe feel
tired exhausted
town city village
train railway rail
trust confidence credible
tutorial walkthrough tour
type enter entry
unlimited endless
update upgrade
upload import
use usage using utilise utilize
useful helpful valuable
user customer member visitor
value worth
visitor guest traffic
walk stroll
want wish desire
wear wearing dressed
website site webpage page web
week weekly
woman lady female
worker employee
wrong incorrect
year yearly annual annually
young younger youth youngster
""".strip()


@cache
def meanings() -> dict[str, frozenset[int]]:
    """Stem -> the numbers of the groups that it stands in."""
    found: dict[str, set[int]] = {}
    for number, line in enumerate(GROUPS.splitlines()):
        for word in line.split():
            found.setdefault(stem(word), set()).add(number)
    return {word: frozenset(numbers) for word, numbers in found.items()}
