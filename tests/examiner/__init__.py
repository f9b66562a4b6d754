"""A corpus written from the text of the law alone, to hold the engine against wrong answers of both kinds.

``lawful.py`` writes whole training records that satisfy every paragraph of their milestone, in the varied
ways in which schools keep them; each must be met without a question. ``wrong_yes.yaml`` holds one small
change to such a record for each case, with the answer that the cited paragraph gives.

Each test reports its outcome, and the end of a run prints two lines. Of the lawful records: the share
answered with a needless question and the share answered with a wrong no. Of the changed records: the share
answered with a wrong yes and the share answered otherwise than expected. Each of these rates is to be zero.

Nothing here was derived from the engine's code. Where the law leaves a case open, its ``why`` says so and it
expects only "not true".
"""
