"""The example specialty of the contract, for tests that read or break it."""

from __future__ import annotations

# The example of contract §6, with a source in place of its ellipses.
CONTRACT = """\
specialty: example
title: Example surgery
roles: {surgeon: Surgeon, teaching_assistant: Teaching assistant, assistant: Assistant, observer: Observer}
supervision:
  observed: {title: Observed, roles: [observer, assistant], band: observed or helped}
  guided: {title: With spoken guidance, roles: [surgeon], band: guided}
  available: {title: Supervisor available, roles: [surgeon], band: available}
stages: {first_year: First year, chief: Chief year}
techniques: {chop: Chop}
attributes: {simulated: Simulated, pediatric: Under 18}
risk_factors: {small_pupil: Pupil under 3 mm}
procedure_groups: {lens: Lens surgery, lid: Lid surgery}
procedures:
  phaco_iol: {title: Phacoemulsification with lens, group: lens}
  lid_repair: {title: Lid repair, group: lid}
requirements:
  lens:
    title: Lens surgery
    minimum: 86
    unit: procedure
    procedures: [phaco_iol]
    roles: [surgeon]
    stages: []
    attributes: {all: [], any: [], none: [simulated]}
    exclusive: [surgeon]
    principal_only: false
    part_of: null
    at_most: {}
    elsewhere: true
    cohorts: {from: 2019, to: null}
    edition: March 2021
    source: Review committee, table of minimums, March 2021
    verified: false
    reviewed_on: 2026-11-24
  audit: {title: Audit of consecutive cases, consecutive: {cases: 50, within_years: 3}, \
procedures: [phaco_iol], roles: [surgeon], source: Made up, verified: false, reviewed_on: 2026-11-24}
  sign_off: {title: Simulation sign-off, sign_off: true, source: Made up, verified: true, \
reviewed_on: 2026-11-24}
complications:
  capsule_rupture: {title: Capsule rupture, group: lens, window_days: 0, definition: It tore, \
source: Made up, verified: true}
  endophthalmitis: {title: Endophthalmitis, group: lens, window_days: 42, definition: Infected, \
source: Made up, verified: false}
steps: {opening: [incision], lens: [capsulorhexis, nucleus_disassembly], closing: [wound_closure], \
throughout: [tissue_handling]}
milestones: {framework: example, official: false, levels: [A, B, C, D, E], items: {lens_skill: {title: Lens \
surgery, rules: {C: [{measure: counted_cases, requirement: lens, at_least: 30}]}}}}
"""
# The rules of its one milestone.
RULES = "{C: [{measure: counted_cases, requirement: lens, at_least: 30}]}"
