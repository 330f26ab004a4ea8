"""The photo lab: photos of flat parts and openings beside a card, with exact truth, drawn at random.

Comes in: a seed. Goes out: NAME.jpg as a phone would have written it, and NAME.truth.json with outline, camera, card,
dimensions and readings that jaws could take. In the order of the work:

    outlines    shapes of parts and openings by chance
    population  a seed -> a `Scene`: what lies where, in which light, seen by which phone
    scene       the lay-out that puts part and card side by side in the frame
    grounds, faces, meshes, lights, blockers     what the scene is made of
    render      a scene -> linear light, with Mitsuba
    develop     linear light -> the 8-bit JPEG of a phone
    shoot       all of it, with the truth file
    verify      are photo and truth one?

Parts, cards, scenes and their names are invented. Rendering needs `pip install -e '.[render]'` and Debian's `libllvm19`
(15 is too old); everything else, and every test, does without.
"""
