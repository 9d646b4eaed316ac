"""Chips that hold anything: codes without a name, words where nothing was placed, control gone astray."""

from random import Random

from tests.judge.tool import Built


def scrambled(built: Built, rng: Random) -> Built:
    """The same machine with most of the words of the stores that are not computed made by chance, some addresses no
    longer placed, and labels where they were."""
    contents = built.contents
    words, sites = dict(contents.words), dict(contents.sites)
    for store in contents.machine.stores.values():
        if store.fill == "computed":
            continue
        usual = rng.randrange(1 << store.bits)
        words[store.name] = tuple(word if rng.random() < 0.5 else rng.choice((usual, rng.randrange(1 << store.bits)))
                                  for word in words[store.name])
        sites[store.name] = {address: site for address, site in sites[store.name].items() if rng.random() < 0.9}
    return built._replace(contents=contents._replace(words=words, sites=sites))
