"""Reset strategies: how a candidate sets supply air temperature and duct static pressure.

``limits`` says what no reset may pass, ``tables`` holds strategies that follow outdoor
temperature or airflow, ``demand`` settles where trim and respond settles, ``cost_optimal``
searches the least energy cost, ``choose`` is the one door to all of them.
"""
